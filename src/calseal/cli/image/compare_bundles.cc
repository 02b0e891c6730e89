#include "calseal/cli/image/compare_bundles.h"

#include "calseal/base/file.h"
#include "calseal/base/text.h"
#include "calseal/base/utc_time.h"
#include "calseal/cli/image/page_for.h"
#include "calseal/cli/reads/read_arguments.h"
#include "calseal/report/changes/item_report.h"
#include "calseal/report/revision/revision_changes.h"
#include "calseal/trust/trust_file.h"

namespace calseal {
namespace {

// Its seal judged where there is a trust file. When it was sealed and what was accepted before do not matter.
Result<OpenedBundle> open_to_compare(Bytes file, const std::string& name,
                                     const std::optional<TrustFile>& trust) {
  if (!trust) return open_unverified(std::move(file), name);
  OpenContext context;
  context.trust = &*trust;
  context.now = current_time();
  std::vector<Step> steps = all_steps();
  return open_sealed(std::move(file), name, context, steps);
}

Result<std::optional<TrustFile>> load_trust(const CompareOptions& options) {
  if (options.trust.empty()) return std::optional<TrustFile>();
  CALSEAL_ASSIGN(const Bytes bytes, read_file(options.trust, kTrustFileSizeLimit));
  CALSEAL_ASSIGN(TrustFile trust, parse_trust_file(bytes, options.root, printable(options.trust)));
  return std::optional<TrustFile>(std::move(trust));
}

}  // namespace

Result<int> compare_bundles(const CompareOptions& options, Bytes before, Bytes after,
                            const Console& console) {
  CALSEAL_ASSIGN(const std::optional<TrustFile> trust, load_trust(options));
  CALSEAL_ASSIGN(const OpenedBundle from,
                 open_to_compare(std::move(before), printable(options.files[0]), trust));
  CALSEAL_ASSIGN(const OpenedBundle to,
                 open_to_compare(std::move(after), printable(options.files[1]), trust));
  // Its bytes count only where a manifest of the two proves them, so its seal does not matter.
  std::vector<OpenedBundle> base;
  if (!options.base_bundle.empty()) {
    CALSEAL_ASSIGN(Bytes file, read_file(options.base_bundle, kBundleSizeLimit));
    CALSEAL_ASSIGN(OpenedBundle opened, open_unverified(std::move(file), printable(options.base_bundle)));
    base.push_back(std::move(opened));
  }
  std::vector<const OpenedBundle*> beside;
  for (const OpenedBundle& bundle : base) beside.push_back(&bundle);
  Read read;
  if (!options.reads.empty()) {
    CALSEAL_ASSIGN(read, load_read_arguments(to.map, options.reads));
  }
  CALSEAL_ASSIGN(const RevisionChanges changes,
                 changes_between(from, to, beside, options.reads.empty() ? nullptr : &read.image));
  const std::string seals = trust ? "both verified, signed for " + printable(trust->shop)
                                  : "not verified: no trust file was given, so this is what the files claim";
  console.print(revision_changes_text(changes, seals, page_for(console),
                                      options.all ? kAllItems : kFirstItems,
                                      options.hex ? Excerpt::kHex : Excerpt::kNone));
  console.print_json(revision_changes_json(changes, trust.has_value()));
  return 0;
}

}  // namespace calseal
