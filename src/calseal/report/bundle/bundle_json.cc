#include "calseal/base/json_write.h"
#include "calseal/base/text.h"
#include "calseal/report/bundle/bundle_report.h"
#include "calseal/trust/key.h"
#include "calseal/trust/spoken_code.h"

namespace calseal {

std::string_view raw_manifest(const OpenedBundle& opened) {
  return text_of(ByteView(opened.file)
                     .subspan(static_cast<std::size_t>(opened.framing.content_offset(0)),
                              static_cast<std::size_t>(opened.framing.entries.front().stored_size)));
}

JsonValue bundle_json(const OpenedBundle& opened) {
  // It parsed as a manifest, so it parses as JSON.
  const Result<JsonValue> manifest = parse_json(raw_manifest(opened), opened.name);
  return json_object({{"calseal", json("show/1")},
                      {"verified", json(false)},
                      {"statement", json(kNotVerified)},
                      {"file", json(opened.name)},
                      {"size", json(opened.file.size())},
                      {"identity", json(digest_text(opened.digest))},
                      {"phrase", json(spoken_code(Spoken::kRevision, opened.digest))},
                      {"signature_keys", json_strings(opened.signers)},
                      {"changes", json_array(opened.changes,
                                             [](const Change& change) {
                                               return json_object(
                                                   {{"memory", json(change.place.memory)},
                                                    {"start", json(address_text(change.place.range.begin))},
                                                    {"size", json(change.place.range.size())},
                                                    {"region", json(change.region)},
                                                    {"option", json(change.option)}});
                                             })},
                      {"manifest", manifest ? *manifest : JsonValue{}}});
}

}  // namespace calseal
