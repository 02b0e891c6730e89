// Any bytes as each line and file of a ledger, as a receipt, proof or time-stamp token; and a whole ledger
// whose files were bent: judging it ends, a change of what a kept head holds is found, and an append either
// refuses or leaves what was acknowledged as it was.
#include <stdlib.h>

#include <filesystem>
#include <fstream>

#include "calseal/base/file.h"
#include "calseal/check/receipt.h"
#include "calseal/ledger/append.h"
#include "calseal/ledger/layout.h"
#include "calseal/ledger/ledger.h"
#include "calseal/ledger/merkle.h"
#include "calseal/ledger/tip.h"
#include "calseal/ledger/token.h"
#include "calseal/trust/consistency.h"
#include "calseal/trust/statement.h"
#include "fuzz/fuzz_target.h"
#include "fuzz/must.h"
#include "fuzz/recipe.h"

namespace {

using namespace calseal;

template <typename Parsed, typename Write>
void written_back(const Parsed& parsed, ByteView text, Write write) {
  if (!parsed) return must_explain(parsed.error());
  must(write(*parsed) == text_of(text), "what is read is written back");
}

void try_lines(ByteView text) {
  written_back(parse_ledger_entry(text, Reason::kLedgerDamaged, "input"), text, write_ledger_entry);
  written_back(parse_ledger_detail(text, "input"), text, write_ledger_detail);
  written_back(parse_ledger_line(text, "input"), text, [](const Sha256& id) {
    std::string line = write_ledger_line(id);
    line.pop_back();
    return line;
  });
  if (text.empty()) return;
  written_back(parse_ledger_tip(text, "input"), text, write_ledger_tip);
  written_back(parse_consistency(text, "input"), text, write_consistency);
  const auto receipt = parse_receipt(text, "input");
  if (receipt) {
    must(text_of(text).starts_with(write_receipt_text(*receipt) + "\n"), "a receipt has one form");
  } else {
    must_explain(receipt.error());
  }
  const auto token = verify_token({"input", Bytes(text.begin(), text.end())}, view_of("head"), {});
  must(!token, "a token without an authority proves nothing");
  must_explain(token.error());
}

struct Files {
  std::string entries, details, tip, head;
  std::size_t covered = 0;  // bytes of the entries that the head holds
};

// Six entries, one of them about an erased one, and a head over the first four.
Files sound_ledger() {
  Files files;
  const Sha256 id = compute_sha256(view_of("ledger"));
  files.entries = write_ledger_line(id);
  MerkleFrontier frontier;
  std::vector<Sha256> leaves;
  for (std::uint64_t i = 0; i < 6; ++i) {
    LedgerDetail detail;
    detail.index = i;
    detail.nonce = Bytes(kNonceSize, static_cast<std::uint8_t>(i + 1));
    detail.facts.kind = i == 5 ? EntryKind::kErased : i % 2 == 0 ? EntryKind::kSealed : EntryKind::kSent;
    detail.facts.claimed_time = "2026-03-04T05:06:07Z";
    detail.facts.about =
        i == 5 ? digest_of_erased({leaves[1]}) : compute_sha256(view_of(std::to_string(i / 2)));
    if (i == 5) {
      detail.facts.erases = {1};
    } else {
      detail.facts.job = detail.facts.controller = "oak";
      detail.facts.base = 1;
      detail.facts.sequence = i + 1;
      detail.facts.words = "mail";
    }
    const std::string line = write_ledger_entry(entry_of(detail.nonce, detail.facts));
    leaves.push_back(merkle_leaf_hash(view_of(line)));
    frontier.append(leaves.back());
    files.entries += line + "\n";
    files.details += write_ledger_detail(i == 1 ? LedgerDetail{1, {}, {}, 5} : detail) + "\n";
    if (i == 3) {
      files.covered = files.entries.size();
      SignedHead head{id, id, "2026-03-04T06:00:00Z", frontier.head()};
      files.head = write_statement(write_tree_head_text(head), {PrefixSignature{}});
    }
  }
  files.tip = write_ledger_tip({id, frontier.size(), files.entries.size(), frontier.peaks()});
  return files;
}

void bend(std::string& text, const Bend& bend) {
  if (text.empty()) return;
  const std::size_t at = bend.where % text.size();
  switch (bend.how % 6) {
    case 0:
      text[at] = static_cast<char>(text[at] ^ (1 << (bend.value % 8)));
      break;
    case 1:
      text.erase(at, 1 + bend.value % 400);
      break;
    case 2:
      text.insert(at, 1 + bend.value % 3, static_cast<char>(bend.value >> 8U));
      break;
    case 3:
      text.resize(at);
      break;
    case 4:
      text += text.substr(at, bend.value % 700);
      break;
    default:  // a whole line once more, somewhere else
      const std::size_t start = text.rfind('\n', at) + 1;
      const std::string line = text.substr(start, text.find('\n', at) + 1 - start);
      text.insert(text.rfind('\n', bend.value % text.size()) + 1, line);
  }
}

const std::string& scratch() {
  static const std::string kFolder = [] {
    std::string name = (std::filesystem::temp_directory_path() / "calseal-fuzz-XXXXXX").string();
    must(::mkdtemp(name.data()) != nullptr, "a scratch folder");
    std::filesystem::create_directory(name + "/heads");
    return name;
  }();
  return kFolder;
}

void put(std::string_view name, const std::string& text) {
  std::ofstream(scratch() + "/" + std::string(name), std::ios::binary | std::ios::trunc) << text;
}

LedgerReport judge(bool& readable) {
  const auto report = verify_ledger(scratch(), {});
  readable = report.has_value();
  if (!readable) must_explain(report.error());
  if (readable) {
    for (const LedgerFinding& finding : report->findings)
      must(!finding.text.empty() && !finding.next.empty() && !finding.file.empty(),
           "a finding says what to do");
  }
  return readable ? *report : LedgerReport{};
}

void try_whole(const Recipe& recipe) {
  static const Files kSound = sound_ledger();
  Files files = kSound;
  for (const Bend& one : recipe.bends) {
    std::string* const kParts[] = {&files.entries, &files.details, &files.tip, &files.head};
    bend(*kParts[one.what % 4], one);
  }
  put(kEntriesFile, files.entries);
  put(kDetailsFile, files.details);
  put(kTipFile, files.tip);
  put(head_file(4), files.head);
  bool readable = false;
  const LedgerReport report = judge(readable);
  const bool same = files.entries == kSound.entries && files.details == kSound.details &&
                    files.tip == kSound.tip && files.head == kSound.head;
  must(!same || (readable && report.findings.empty()), "a sound ledger has no finding");
  const bool kept = files.entries.starts_with(std::string_view(kSound.entries).substr(0, kSound.covered));
  must(kept || files.head != kSound.head || !readable || !report.clean(),
       "a rewritten ledger is found by its head");
  if (recipe.second % 4 != 0) return;
  NewEntry entry;
  entry.facts.about = compute_sha256(view_of("new"));
  entry.facts.claimed_time = "2026-03-05T05:06:07Z";
  entry.facts.job = entry.facts.controller = "elm";
  const auto appended = append_entries(scratch(), {entry});
  if (!appended) return must_explain(appended.error());
  const auto after = read_file(scratch() + "/" + std::string(kEntriesFile), 1 << 20);
  const auto tip = parse_ledger_tip(view_of(files.tip), "input");
  must(after.has_value() && tip.has_value(), "what was appended to can be read");
  must(text_of(*after).starts_with(std::string_view(files.entries).substr(0, tip->bytes)),
       "what was acknowledged stays");
  const LedgerReport now = judge(readable);
  must(!readable || (now.counts.count("torn") == 0 && now.counts.count("not-acknowledged") == 0),
       "an append leaves nothing half done");
}

}  // namespace

// An input that begins with 02 is a recipe for a whole ledger; all others are a line or file itself.
extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  if (size > 0 && data[0] == 0x02) {
    try_whole(Recipe(data + 1, size - 1));
  } else {
    try_lines({data, size});
  }
  return 0;
}
