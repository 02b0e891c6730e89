#include "calseal/cli/shop/parcel_root.h"

#include "calseal/base/file.h"
#include "calseal/base/text.h"
#include "calseal/cli/shop/stated.h"
#include "calseal/parcel/judge.h"

namespace calseal {

const ShopDefault kParcelTrust{
    "--trust", "trust", [](const Shop& shop) { return std::vector<std::string>{shop.trust}; }, "", true};

void add_parcel_trust(CommandLine& command, std::string& trust) {
  command
      .add_option("--trust", trust, "The shop's newest trust file: a parcel for another shop is refused then")
      ->takes("FILE");
}

void add_parcel_successions(CommandLine& command, std::vector<std::string>& successions) {
  command
      .add_option("--succession", successions,
                  "How the shop's root was replaced, for a parcel that names an earlier one; oldest first "
                  "(repeatable)")
      ->takes("FILE")
      ->one_each();
}

Result<TrustChain> load_parcel_chain(const std::string& trust, const std::vector<std::string>& successions) {
  CALSEAL_ASSIGN(Bytes bytes, read_file(trust, kTrustFileSizeLimit));
  std::vector<NamedBytes> steps;
  for (const std::string& path : successions) {
    CALSEAL_ASSIGN(Bytes step, read_file(path, kSuccessionSizeLimit));
    steps.push_back({printable(path), std::move(step)});
  }
  return parse_trust_chain({printable(trust), std::move(bytes)}, steps, "");
}

Status judge_parcel_root(const OpenedParcel& parcel, const TrustChain& chain) {
  std::vector<KeyId> roots;
  for (const PublicKey& root : chain.roots()) roots.insert(roots.begin(), compute_key_id(root));
  return check_parcel_root(parcel.parcel, roots, parcel.name);
}

Status judge_parcel_root(const std::optional<OpenedParcel>& parcel, const std::string& trust,
                         const std::vector<std::string>& successions) {
  if (trust.empty() && !successions.empty())
    return fail(
        usage_error("--succession", "no trust file", "--trust beside it", "give the shop's trust file"));
  if (!parcel || trust.empty()) return {};
  CALSEAL_ASSIGN(const TrustChain chain, load_parcel_chain(trust, successions));
  return judge_parcel_root(*parcel, chain);
}

}  // namespace calseal
