#include "calseal/cli/job/named_revisions.h"

#include <algorithm>
#include <charconv>

#include "calseal/base/text.h"
#include "calseal/bundle/signed_json.h"
#include "calseal/cli/shop/stated.h"

namespace calseal {
namespace {

std::optional<std::uint64_t> number_in(const std::string& text) {
  std::uint64_t number = 0;
  const auto [end, error] = std::from_chars(text.data(), text.data() + text.size(), number);
  if (error != std::errc() || end != text.data() + text.size() || number > kRevisionLimit)
    return std::nullopt;
  return number;
}

class Naming {
 public:
  Naming(const VehicleJob& job, std::vector<SendRequest>& requests) : job_(job), requests_(requests) {}

  Status parent(const std::string& word) {
    CALSEAL_ASSIGN(const Named named, find("--parent", word));
    const std::optional<std::uint64_t> number = number_in(named.value);
    if (!number) return wrong("--parent", word, "the number of a revision");
    if (named.request->parent) return wrong("--parent", word, "one revision of each controller to follow");
    named.request->parent = number;
    return {};
  }

  // By number, of the current base, or by identity.
  Status permitted_return(const std::string& word) {
    CALSEAL_ASSIGN(const Named named, find("--permit-return", word));
    const JobBase& base = job_.find(named.request->controller)->base();
    std::optional<Sha256> identity = parse_digest(named.value);
    const std::optional<std::uint64_t> number = number_in(named.value);
    const JobRevision* revision = number ? base.find(*number) : nullptr;
    if (revision != nullptr) identity = revision->digest;
    if (!identity)
      return wrong("--permit-return", word, "the number of a revision of the current base, or an identity");
    named.request->permitted_returns.push_back(*identity);
    return {};
  }

 private:
  struct Named {
    SendRequest* request;
    std::string value;
  };

  static tl::unexpected<Error> wrong(const std::string& option, const std::string& word,
                                     const std::string& expected) {
    return fail(usage_error(option, printable(word, 80), expected, "see calseal job status"));
  }

  Result<Named> find(const std::string& option, const std::string& word) const {
    const std::size_t equals = word.find('=');
    std::string name = equals == std::string::npos ? "" : word.substr(0, equals);
    const std::string value = equals == std::string::npos ? word : word.substr(equals + 1);
    std::vector<SendRequest*> meant;
    std::string sent;
    for (SendRequest& request : requests_) {
      if (request.again) continue;  // sealed again as it is, behind its newest revision
      sent += (sent.empty() ? "" : ", ") + request.controller;
      if (equals == std::string::npos || request.controller == name) meant.push_back(&request);
    }
    if (meant.size() == 1) return Named{meant.front(), value};
    if (meant.empty())
      return wrong(option, word,
                   sent.empty() ? "an edit or an option of the controller"
                                : "a controller of which something is sent: " + sent);
    const std::optional<Sha256> identity = parse_digest(value);
    for (SendRequest* request : meant) {
      if (identity && job_.find(request->controller)->find(*identity) != nullptr)
        return Named{request, value};
    }
    std::string type;
    for (const SendRequest* request : meant)
      type += (type.empty() ? "type " : ", or ") + option + " " + request->controller + "=" +
              printable(value, 80);
    return fail(usage_error(option, printable(value, 80) + ", and edits of " + sent,
                            "the controller that it is of", type + (meant.size() == 2 ? ", or both" : "")));
  }

  const VehicleJob& job_;
  std::vector<SendRequest>& requests_;
};

}  // namespace

Status name_revisions(const VehicleJob& job, const std::vector<std::string>& parents,
                      const std::vector<std::string>& returns, std::vector<SendRequest>& requests) {
  Naming naming(job, requests);
  for (const std::string& word : parents) CALSEAL_CHECK(naming.parent(word));
  for (const std::string& word : returns) CALSEAL_CHECK(naming.permitted_return(word));
  for (SendRequest& request : requests) std::ranges::sort(request.permitted_returns);
  return {};
}

}  // namespace calseal
