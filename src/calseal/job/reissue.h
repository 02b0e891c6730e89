// A revision given out again with its whole image, for a customer who has lost his read.
//
// The new bundle is of the same revision: number, parent, content, words and options are the same, and it
// makes the same image to the byte. Two things must differ, and with them the identity, which is the digest
// of the manifest: the payload, now everything pinned, and the sequence number, because a customer's checker
// takes no second manifest under a number that it knows. The annotation `reissue-of` names the identity that
// it stands for; it is signed, shown, and decides nothing.
#pragma once

#include <string>
#include <string_view>

#include "calseal/base/result.h"
#include "calseal/job/job.h"
#include "calseal/job/open_base.h"

namespace calseal {

inline constexpr std::string_view kReissueAnnotation = "reissue-of";

struct Reissued {
  std::string bundle;  // within the folder
  Sha256 identity;
  bool already_whole = false;  // revision 0: its first bundle is whole, and is to be handed over again
  std::vector<std::uint64_t> passed_over;  // later revisions, which the new bundle permits to return to
};

// Seals revision `number` of the folder's current base again. kUsage when there is none, kWithdrawn when it
// was taken back; the reasons of opening, seal() and check_as_customer(). The caller holds the lock.
Result<Reissued> reissue(const Job& job, std::uint64_t number, const Signing& signing);

}  // namespace calseal
