#include "calseal/sign/keys_ahead.h"

#include <exception>
#include <utility>

namespace calseal {

KeysAhead::KeysAhead(std::vector<std::string> paths, std::string passphrase)
    : paths_(std::move(paths)), passphrase_(std::move(passphrase)) {
  other_.start([this] {
    try {
      open();
    } catch (const std::exception&) {
      // get() begins anew, and fails where an exception can be told
    }
  });
}

KeysAhead::~KeysAhead() {
  other_.join();
  wipe(passphrase_);
}

void KeysAhead::open() {
  keys_ = read_private_keys(paths_, passphrase_);
  wipe(passphrase_);
  opened_ = true;
}

Result<SigningKeys> KeysAhead::get() {
  other_.join();
  if (!opened_) open();
  if (!keys_) return fail(keys_.error());
  return SigningKeys(keys_->begin(), keys_->end());
}

}  // namespace calseal
