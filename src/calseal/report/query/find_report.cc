#include "calseal/base/json_write.h"
#include "calseal/base/text.h"
#include "calseal/report/query/query_report.h"

namespace calseal {
namespace {

constexpr std::size_t kPathLimit = 16384;   // bytes; programs need whole names
constexpr std::size_t kShownUnread = 10;    // files
constexpr std::size_t kIdentityShown = 12;  // digits; JSON has all

Mark seal_mark(SealState seal) {
  switch (seal) {
    case SealState::kHolds:
      return Mark::kGood;
    case SealState::kRefused:
      return Mark::kBad;
    case SealState::kIncomplete:
      return Mark::kCaution;
    case SealState::kNotLookedAt:
      break;
  }
  return Mark::kDim;
}

std::string seal_words(const FoundRevision& found) {
  switch (found.seal) {
    case SealState::kHolds:
      return "seal holds";
    case SealState::kIncomplete:
      return "incomplete";
    case SealState::kRefused:
      return "REFUSED: " + found.reason;
    case SealState::kNotLookedAt:
      break;
  }
  return "unverified";
}

}  // namespace

std::string index_remarks(const Index& index, const Page& page) {
  std::string text;
  for (std::size_t i = 0; i < index.unread.size() && i < kShownUnread; ++i) {
    text += labelled(page, "not read", printable(index.unread[i].path) + ": " + index.unread[i].reason,
                     Mark::kCaution);
  }
  if (index.unread.size() > kShownUnread)
    text += labelled(page, "not read", "and " + grouped(index.unread.size() - kShownUnread) + " more");
  if (!index.kept) {
    text += labelled(page, "index", "could not be written here; every question reads all bundles",
                     Mark::kCaution);
  }
  return text;
}

std::string found_text(const Index& index, const std::vector<FoundRevision>& found, const Page& page) {
  Columns columns;
  bool judged = found.empty();
  for (const FoundRevision& one : found) {
    judged |= one.seal != SealState::kNotLookedAt;
    columns.add({{one.job},
                 {one.controller},
                 {"base " + std::to_string(one.base)},
                 {"r" + std::to_string(one.revision)},
                 {one.claimed_time.substr(0, 10)},
                 {digest_text(one.identity).substr(0, kIdentityShown), Mark::kDim},
                 {seal_words(one), seal_mark(one.seal)},
                 {printable(one.file)}});
  }
  std::string text = columns.empty() ? "" : columns.text(page, 2) + "\n";
  text += labelled(page, "found",
                   counted(found.size(), "bundle", "bundles") + " of " + grouped(index.bundles) +
                       "; index of " + index.built);
  if (!judged)
    text += labelled(page, "seals", "not looked at: this is what the bundles claim; give --trust",
                     Mark::kCaution);
  return text + index_remarks(index, page);
}

JsonValue found_revision_json(const FoundRevision& found) {
  return json_object({{"file", json(printable(found.file, kPathLimit))},
                      {"identity", json(digest_text(found.identity))},
                      {"job", json(found.job)},
                      {"controller", json(found.controller)},
                      {"base", json(found.base)},
                      {"revision", json(found.revision)},
                      {"sequence", json(found.sequence)},
                      {"title", json(found.title)},
                      {"claimed_time", json(found.claimed_time)},
                      {"vehicle_reference", json(found.vehicle_reference)},
                      {"seal", json(seal_state_name(found.seal))},
                      {"reason", json(found.reason)}});
}

JsonValue found_json(const Index& index, const std::vector<FoundRevision>& found) {
  const auto unread = [](const UnreadFile& file) {
    return json_object({{"file", json(printable(file.path, kPathLimit))}, {"reason", json(file.reason)}});
  };
  return json_object({{"calseal", json("find/1")},
                      {"bundles", json(index.bundles)},
                      {"read_anew", json(index.read)},
                      {"gone", json(index.gone)},
                      {"index_rebuilt", json(index.rebuilt)},
                      {"index_kept", json(index.kept)},
                      {"index_time", json(index.built)},
                      {"unread", json_array(index.unread, unread)},
                      {"revisions", json_array(found, found_revision_json)}});
}

}  // namespace calseal
