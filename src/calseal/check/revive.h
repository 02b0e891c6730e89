// The way back without a read: revision 0 written whole, on a person's declared word.
#pragma once

#include "calseal/check/check.h"

namespace calseal {

// Revision 0 only (kReadMissing else); the vehicle reference must be given and be the manifest's
// (kVehicleReference, kVehicleNotProvable). Proof of vehicle: asserted. The files come in the form that the
// base was received in. Record files are written anew, so their lines may differ from those received. A
// declared form is put on again where its opaque bytes are known: kept in the manifest (wrapping_note.h), all
// made by its own checksums, or such that the file is the very file as received; else its memories come each
// for itself.
Status revive(const OpenedBundle& opened, const MatchEvidence& evidence, Verdict& verdict);

}  // namespace calseal
