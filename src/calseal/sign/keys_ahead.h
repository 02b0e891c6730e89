// Private keys that a second thread opens while what they will sign is still being made: a key file costs its
// reader some 0.1 s by intention.
#pragma once

#include <atomic>
#include <string>
#include <vector>

#include "calseal/base/other_core.h"
#include "calseal/base/result.h"
#include "calseal/sign/private_key.h"
#include "calseal/sign/statement_sign.h"

namespace calseal {

class KeysAhead {
 public:
  // Begins with the files in their order; one passphrase opens them all. Without a second core or a thread to
  // be had, get() does it all.
  KeysAhead(std::vector<std::string> paths, std::string passphrase);
  ~KeysAhead();
  KeysAhead(const KeysAhead&) = delete;
  KeysAhead& operator=(const KeysAhead&) = delete;

  // Waits for the keys, which live as long as this; the reasons of read_private_keys(). The same answer every
  // time.
  Result<SigningKeys> get();

 private:
  void open();

  std::vector<std::string> paths_;
  std::string passphrase_;  // wiped when the keys are open
  Result<std::vector<PrivateKey>> keys_;
  std::atomic<bool> opened_{false};
  OtherCore other_;  // last, so that it ends before what it works on
};

}  // namespace calseal
