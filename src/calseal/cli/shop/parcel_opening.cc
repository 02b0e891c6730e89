#include "calseal/cli/shop/parcel_opening.h"

#include <algorithm>

#include "calseal/base/file.h"
#include "calseal/base/text.h"
#include "calseal/cli/shop/passphrase.h"
#include "calseal/parcel/closed.h"
#include "calseal/receipt/customer_key.h"
#include "calseal/sign/parcel_secret.h"
#include "calseal/sign/private_key.h"

namespace calseal {
namespace {

// A parcel of the largest size, and what closing adds to it.
constexpr std::uint64_t kClosedSizeLimit = kContentSizeLimit + (std::uint64_t{4} << 20);

std::vector<std::string> key_in(const Shop& shop) {
  return shop.parcel_key.empty() ? std::vector<std::string>() : std::vector{shop.parcel_key};
}

}  // namespace

const ShopDefault kShopParcelKey{"--parcel-key", "parcel_key", key_in, "", true};

void add_parcel_opening(CommandLine& command, ParcelOpening& opening) {
  command.add_option("--parcel-key", opening.key, "Private key that opens closed parcels")->takes("FILE");
  command
      .add_option("--parcel-passphrase-file", opening.passphrase_file,
                  "First line: passphrase of the parcel key")
      ->takes("FILE");
}

Result<Bytes> open_closed_file(const std::string& path, const ParcelOpening& opening) {
  if (opening.key.empty()) {
    return fail({Reason::kParcelClosed, printable(path), "", "a closed parcel, and no key",
                 "the private key of the sheet that it was made with",
                 "give --parcel-key, or name it in the shop file (parcel_key)"});
  }
  CALSEAL_ASSIGN(const Bytes file, read_file(path, kClosedSizeLimit));
  CALSEAL_ASSIGN(std::string passphrase,
                 obtain_passphrase(opening.passphrase_file, "the parcel key", PassphraseUse::kOpen));
  Result<Bytes> bytes = read_parcel_secret(opening.key, passphrase);
  wipe(passphrase);
  if (!bytes) return fail(bytes.error());
  ParcelSecret secret;
  std::ranges::copy(*bytes, secret.bytes.begin());
  cleanse(*bytes);
  return open_closed_parcel(file, secret, printable(path));
}

Result<OpenedParcel> read_any_parcel(const std::string& path, const ParcelOpening& opening) {
  if (!is_closed_parcel_file(path)) return read_parcel(path);
  CALSEAL_ASSIGN(Bytes parcel, open_closed_file(path, opening));
  return open_parcel(std::move(parcel), printable(path));
}

Result<SplitArguments> split_any_parcel(const std::vector<std::string>& arguments,
                                        const ParcelOpening& opening) {
  return split_parcel(arguments,
                      [&opening](const std::string& path) { return read_any_parcel(path, opening); });
}

}  // namespace calseal
