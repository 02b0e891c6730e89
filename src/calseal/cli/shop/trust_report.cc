#include "calseal/cli/shop/trust_report.h"

#include "calseal/base/json_write.h"
#include "calseal/base/text.h"
#include "calseal/bundle/signed_json.h"
#include "calseal/trust/spoken_code.h"

namespace calseal {
namespace {

std::string joined(const std::vector<std::string>& items) {
  std::string text;
  for (const std::string& item : items) text += (text.empty() ? "" : ", ") + item;
  return text;
}

std::vector<std::string> role_names(const TrustedKey& key) {
  std::vector<std::string> names;
  for (const Role role : key.roles) names.emplace_back(role_name(role));
  return names;
}

std::string scope_text(const TrustedKey& key) {
  std::vector<std::string> parts;
  if (!key.jobs.empty()) parts.push_back("jobs " + joined(key.jobs));
  if (!key.controllers.empty()) parts.push_back("controllers " + joined(key.controllers));
  for (const Sha256& digest : key.region_maps) parts.push_back("region map " + digest_text(digest));
  return parts.empty() ? "everything" : joined(parts);
}

std::string key_lines(const TrustedKey& key) {
  return "key       " + printable(key.name) + (key.compromised ? "  COMPROMISED" : "") + "\n" +
         "          id           " + digest_text(key.id) + "\n" +  //
         "          fingerprint  " + spoken_code(Spoken::kKey, key.id) + "\n" + "          roles        " +
         joined(role_names(key)) + "\n" + "          signs for    " + scope_text(key) + "\n" +  //
         "          valid        from " + key.valid_from +
         (key.valid_until.empty() ? "" : ", before " + key.valid_until) + "\n";
}

}  // namespace

std::string trust_text(const TrustFile& trust) {
  std::string text = "shop      " + printable(trust.shop) + "\n" +  //
                     "version   " + std::to_string(trust.version) + "  (" + trust.claimed_time + ")\n" +
                     "root      " + spoken_code(Spoken::kKey, compute_key_id(trust.root)) + "\n";
  if (trust.next_root)
    text +=
        "next root " + spoken_code(Spoken::kKey, *trust.next_root) + "  (announced; it does not count yet)\n";
  text += "policy    " + std::to_string(trust.threshold) +
          (trust.threshold == 1 ? " signature on every bundle\n" : " signatures on every bundle\n");
  for (const TreeHead& head : trust.ledger_heads)
    text += "head      " + digest_text(head.root_hash) + "  (" + grouped(head.size) +
            (head.size == 1 ? " entry" : " entries") + ", pinned)\n";
  for (const TrustedKey& key : trust.keys) text += key_lines(key);
  return text;
}

JsonValue trust_json(const TrustFile& trust) {
  const KeyId root = compute_key_id(trust.root);
  return json_object(
      {{"version", json(trust.version)},
       {"shop", json(trust.shop)},
       {"claimed_time", json(trust.claimed_time)},
       {"root_id", json_digest(root)},
       {"root_fingerprint", json(spoken_code(Spoken::kKey, root))},
       {"next_root", json_digest(trust.next_root)},
       {"next_root_fingerprint", json(trust.next_root ? spoken_code(Spoken::kKey, *trust.next_root) : "")},
       {"threshold", json(trust.threshold)},
       {"ledger_heads",
        json_array(
            trust.ledger_heads,
            [](const TreeHead& head) {
              return json_object({{"size", json(head.size)}, {"root_hash", json_digest(head.root_hash)}});
            })},
       {"keys", json_array(trust.keys, [](const TrustedKey& key) {
          return json_object(
              {{"id", json_digest(key.id)},
               {"fingerprint", json(spoken_code(Spoken::kKey, key.id))},
               {"name", json(key.name)},
               {"roles", json_strings(role_names(key))},
               {"jobs", json_strings(key.jobs)},
               {"controllers", json_strings(key.controllers)},
               {"region_maps", json_array(key.region_maps, [](const Sha256& d) { return json_digest(d); })},
               {"valid_from", json(key.valid_from)},
               {"valid_until", json(key.valid_until)},
               {"state", json(key.compromised ? "compromised" : "active")}});
        })}});
}

}  // namespace calseal
