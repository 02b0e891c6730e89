#include "calseal/job/handover.h"

#include <algorithm>
#include <map>

#include "calseal/base/text.h"
#include "calseal/check/open.h"
#include "calseal/job/job.h"
#include "calseal/job/open_base.h"

namespace calseal {
namespace {

constexpr std::string_view kHandover = "handover-";
constexpr std::string_view kBundleEnd = ".calseal";

}  // namespace

std::string handover_folder(std::uint64_t number) { return std::string(kHandover) + std::to_string(number); }

std::uint64_t handover_number(std::string_view name) {
  if (!name.starts_with(kHandover) || name.size() > kHandover.size() + 9) return 0;
  std::uint64_t number = 0;
  for (const char c : name.substr(kHandover.size())) {
    if (c < '0' || c > '9') return 0;
    number = number * 10 + static_cast<std::uint64_t>(c - '0');
  }
  return handover_folder(number) == name ? number : 0;
}

Result<std::uint64_t> newest_handover(const std::string& folder) {
  std::uint64_t newest = 0;
  CALSEAL_ASSIGN(const std::vector<std::string> names, names_in(folder));
  for (const std::string& name : names) newest = std::max(newest, handover_number(name));
  return newest;
}

std::string handed_name(const std::string& controller, const std::string& bundle) {
  return controller + "-" + bundle.substr(bundle.rfind('/') + 1);
}

Result<std::string> make_handover(const std::string& folder, const std::vector<HandedBundle>& bundles,
                                  const std::string& message) {
  CALSEAL_ASSIGN(const std::uint64_t newest, newest_handover(folder));
  const std::string name = handover_folder(newest + 1);
  std::vector<NewFile> files;
  for (const HandedBundle& bundle : bundles) files.push_back({bundle.name, bundle.bytes});
  files.push_back({std::string(kMessageFile), Bytes(message.begin(), message.end())});
  CALSEAL_CHECK(make_folder(folder + "/" + name, {}, files));
  return name;
}

HandedBundle handed_bundle(const std::string& kept_as, const SealedBundle& sealed) {
  HandedBundle bundle;
  bundle.controller = sealed.manifest.controller().name;
  bundle.name = handed_name(bundle.controller, kept_as);
  bundle.kept_as = kept_as;
  const bool again = kept_as.find("-full-") != std::string::npos;
  bundle.sealed = sealed_event(again ? EventKind::kReissued : EventKind::kSealed, sealed, kept_as);
  bundle.bytes = sealed.file;
  return bundle;
}

Result<std::vector<HandedBundle>> read_handover(const std::string& folder, std::uint64_t number) {
  const std::string place = folder + "/" + handover_folder(number) + "/";
  std::vector<HandedBundle> bundles;
  CALSEAL_ASSIGN(const std::vector<std::string> names, names_in(place));
  for (const std::string& name : names) {
    if (name.starts_with('.') || !name.ends_with(kBundleEnd)) continue;
    CALSEAL_ASSIGN(Bytes bytes, read_file(place + name, kBundleSizeLimit));
    Result<OpenedBundle> opened = open_unverified(std::move(bytes), printable(place + name));
    if (!opened) continue;  // damaged since: what it was a copy of is judged where it is kept
    SealedBundle sealed;
    sealed.manifest = std::move(opened->manifest);
    sealed.digest = opened->digest;
    sealed.file = std::move(opened->file);
    const std::string controller = sealed.manifest.controller().name + "-";
    if (!name.starts_with(controller)) continue;
    const std::string kept_as =
        base_folder(sealed.manifest.base_number) + "/" + name.substr(controller.size());
    bundles.push_back(handed_bundle(kept_as, sealed));
    bundles.back().folder = handover_folder(number);
  }
  return bundles;
}

Status place_bundles(const std::string& folder, const std::vector<HandedBundle>& bundles) {
  std::map<std::string, std::vector<Event>> notes;
  for (const HandedBundle& bundle : bundles) notes[folder + "/" + bundle.controller].push_back(bundle.sealed);
  std::vector<std::pair<std::string, std::string>> events;  // path, text
  for (const auto& [place, noted] : notes) {
    CALSEAL_ASSIGN(std::string text, with_events(place, noted));
    events.emplace_back(place + "/" + std::string(kEventsFile), std::move(text));
  }
  std::vector<PendingFile> pending;
  for (const HandedBundle& bundle : bundles) {
    pending.push_back({folder + "/" + bundle.controller + "/" + bundle.kept_as, bundle.bytes,
                       FileMode::kPublic, Existing::kRefuse});
  }
  for (const auto& [path, text] : events) pending.push_back({path, view_of(text)});
  return write_files(pending);
}

}  // namespace calseal
