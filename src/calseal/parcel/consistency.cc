#include "calseal/parcel/consistency.h"

#include <algorithm>
#include <set>
#include <tuple>

#include "calseal/base/text.h"
#include "calseal/bundle/manifest_consistency.h"

namespace calseal {
namespace {

std::string item_of(const std::string& list, std::size_t index) { return list + "/" + std::to_string(index); }

class Consistency {
 public:
  Consistency(const Parcel& parcel, const std::string& name) : parcel_(parcel), name_(name) {}

  Status check() const {
    CALSEAL_CHECK(check_order());
    CALSEAL_CHECK(check_reads());
    CALSEAL_CHECK(check_entries());
    CALSEAL_CHECK(check_findings());
    if (parcel_.reads.empty() && parcel_.logs.empty() && parcel_.words.empty() && parcel_.order.empty())
      return refuse("", "nothing in it", "a read, a log, a word or an order");
    return {};
  }

 private:
  tl::unexpected<Error> refuse(std::string pointer, std::string found, std::string expected) const {
    return fail({Reason::kParcelInvalid, name_, std::move(pointer), std::move(found), std::move(expected),
                 "use nothing of it; ask the customer for a new parcel"});
  }

  Status check_order() const {
    for (std::size_t i = 1; i < parcel_.order.size(); ++i) {
      if (!(parcel_.order[i - 1] < parcel_.order[i]))
        return refuse(item_of("/order", i), parcel_.order[i], "options ascending, each once");
    }
    std::set<std::string> questions;
    for (std::size_t i = 0; i < parcel_.answers.size(); ++i) {
      const ParcelAnswer& answer = parcel_.answers[i];
      if (!questions.insert(answer.question).second)
        return refuse(item_of("/answers", i), answer.question + " again", "each question once");
      if (answer.answer.empty()) return refuse(item_of("/answers", i), "an empty answer", "an answer");
    }
    const bool asks = !parcel_.order.empty() || !parcel_.answers.empty() || !parcel_.accepted.empty();
    if (asks && !parcel_.sheet)
      return refuse("/sheet", "an order, an answer or an accepted caution without a sheet", "the sheet");
    return {};
  }

  Status check_reads() const {
    std::set<std::tuple<std::string, std::string, std::uint64_t>> seen;
    for (std::size_t i = 0; i < parcel_.reads.size(); ++i) {
      const ParcelRead& read = parcel_.reads[i];
      const auto place = [&](std::uint64_t series) {
        return std::tuple(read.controller, read.memory, series);
      };
      if (read.series > 1 && !seen.contains(place(read.series - 1)))
        return refuse(item_of("/reads", i) + "/series", std::to_string(read.series),
                      "a read before it with the number before, of the same memory");
      if (!seen.insert(place(read.series)).second && !read.memory.empty())
        return refuse(item_of("/reads", i), "the same memory and series again", "each once");
    }
    return {};
  }

  Status check_entries() const {
    const std::size_t reads = parcel_.reads.size();
    const std::size_t all = reads + parcel_.logs.size();
    if (parcel_.entries.size() != all)
      return refuse("/entries", std::to_string(parcel_.entries.size()),
                    std::to_string(all) + ", as many as reads and logs");
    for (std::size_t i = 0; i < all; ++i) {
      const bool is_read = i < reads;
      const std::size_t at = is_read ? i : i - reads;
      const std::string wanted = is_read ? read_entry_name(at) : log_entry_name(at);
      const std::string& said = is_read ? parcel_.reads[at].entry : parcel_.logs[at].entry;
      if (said != wanted)
        return refuse(item_of(is_read ? "/reads" : "/logs", at) + "/entry", "\"" + printable(said, 60) + "\"",
                      wanted);
      if (parcel_.entries[i].name != wanted)
        return refuse(item_of("/entries", i) + "/name", "\"" + printable(parcel_.entries[i].name, 60) + "\"",
                      wanted);
    }
    if (const auto fault = find_entry_fault(parcel_.entries))
      return refuse(fault->place, fault->found, fault->expected);
    return {};
  }

  Status check_findings() const {
    std::size_t read = 0;
    std::string before;
    for (std::size_t i = 0; i < parcel_.findings.size(); ++i) {
      const ParcelFinding& finding = parcel_.findings[i];
      const auto from = parcel_.reads.begin() + static_cast<std::ptrdiff_t>(read);
      const auto at = std::find_if(from, parcel_.reads.end(),
                                   [&](const ParcelRead& one) { return one.entry == finding.entry; });
      if (at == parcel_.reads.end())
        return refuse(item_of("/findings", i) + "/entry", "\"" + printable(finding.entry, 60) + "\"",
                      "entries of reads, in their order");
      const auto index = static_cast<std::size_t>(at - parcel_.reads.begin());
      if (index == read && !(before < finding.code))
        return refuse(item_of("/findings", i) + "/code", finding.code, "codes of one read ascending");
      read = index;
      before = finding.code;
    }
    return {};
  }

  const Parcel& parcel_;
  const std::string& name_;
};

}  // namespace

Status check_parcel_consistency(const Parcel& parcel, const std::string& name) {
  return Consistency(parcel, name).check();
}

}  // namespace calseal
