#include "calseal/job/customer_check.h"

#include "calseal/check/check.h"

namespace calseal {

namespace {

Verdict check_of(const SealedBundle& sealed, const CustomerSide& customer, bool fresh) {
  CheckRequest request;
  request.bundle_name = "the new bundle";
  request.bundle = sealed.file;
  request.trust_name = customer.trust.name;
  request.trust = customer.trust.bytes;
  request.read = customer.read;
  request.evidence = {fresh, customer.salt, customer.vehicle_reference};
  request.now = customer.now;
  request.partners = customer.partners;
  return check_bundle(std::move(request));
}

}  // namespace

bool needs_fresh_read(const SealedBundle& sealed, const CustomerSide& customer) {
  if (sealed.incomplete) return false;
  const Verdict verdict = check_of(sealed, customer, false);
  return verdict.reason && verdict.reason->reason == Reason::kReadNotFresh;
}

Status check_as_customer(const SealedBundle& sealed, const RegionMap& map, const Image& expected,
                         const CustomerSide& customer) {
  if (sealed.incomplete) return {};
  const Verdict verdict = check_of(sealed, customer, true);
  if (verdict.outcome != Outcome::kAccepted) return fail(*verdict.reason);
  CALSEAL_ASSIGN(const Read read, load_read(map, customer.read));
  CALSEAL_ASSIGN(const std::vector<Bytes> files, render_read(map, read, expected));
  for (std::size_t i = 0; i < files.size(); ++i) {
    if (i >= verdict.files.size() || verdict.files[i].bytes != files[i]) {
      return fail({Reason::kResultMismatch, "the new bundle", read.sources[i].memory,
                   "another image than was edited", "the edited image, corrected",
                   "keep the edit and the job folder, and report this"});
    }
  }
  return {};
}

}  // namespace calseal
