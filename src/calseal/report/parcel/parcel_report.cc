#include "calseal/report/parcel/parcel_report.h"

#include "calseal/base/json_write.h"
#include "calseal/base/text.h"
#include "calseal/bundle/signed_json.h"
#include "calseal/parcel/look.h"
#include "calseal/report/verdict/labelled_lines.h"
#include "calseal/trust/spoken_code.h"

namespace calseal {
namespace {

constexpr LabelledLines kParcelLines(kParcelColumn);

std::string parcel_line(std::string_view label, const std::string& value) {
  return kParcelLines.line(label, value);
}

// A text of several lines, the label before the first.
std::string lines(std::string_view label, std::string_view text) {
  std::string out;
  while (!text.empty()) {
    const std::size_t end = text.find('\n');
    out += parcel_line(label, printable(text.substr(0, end), 65536));
    label = "";
    text.remove_prefix(end == std::string_view::npos ? text.size() : end + 1);
  }
  return out;
}

std::string read_place(const ParcelRead& read) {
  std::string place = read.controller.empty() ? "" : read.controller;
  if (!read.memory.empty()) place += (place.empty() ? "" : " ") + read.memory;
  if (place.empty()) place = "nobody said which memory";
  return read.series > 1 ? place + ", read " + std::to_string(read.series) : place;
}

std::string file_text(const std::string& name, const ManifestEntry& entry) {
  return (name.empty() ? "" : printable(name) + ", ") + bytes_text(entry.size);
}

std::string reads_text(const Parcel& parcel, const Emphasise& emphasise) {
  std::string text;
  for (std::size_t i = 0; i < parcel.reads.size(); ++i) {
    const ParcelRead& read = parcel.reads[i];
    text += parcel_line("read " + std::to_string(i + 1),
                        read_place(read) + ": " + file_text(read.file_name, parcel.entries[i]));
    for (const ParcelFinding& finding : parcel.findings) {
      if (finding.entry != read.entry) continue;
      const std::string words(look_words(finding.code));
      text += parcel_line(
          "", emphasise(Emphasis::kWarn, words.empty() ? finding.code : finding.code + ": it " + words));
    }
  }
  return text;
}

JsonValue reads_json(const Parcel& parcel) {
  JsonValue reads = json_strings({});
  for (std::size_t i = 0; i < parcel.reads.size(); ++i) {
    const ParcelRead& read = parcel.reads[i];
    std::vector<std::string> codes;
    for (const ParcelFinding& finding : parcel.findings) {
      if (finding.entry == read.entry) codes.push_back(finding.code);
    }
    reads.items.push_back(json_object({{"entry", json(read.entry)},
                                       {"controller", json(read.controller)},
                                       {"memory", json(read.memory)},
                                       {"series", json(read.series)},
                                       {"file_name", json(read.file_name)},
                                       {"size", json(parcel.entries[i].size)},
                                       {"digest", json_digest(parcel.entries[i].digest)},
                                       {"findings", json_strings(codes)}}));
  }
  return reads;
}

JsonValue logs_json(const Parcel& parcel) {
  JsonValue logs = json_strings({});
  for (std::size_t i = 0; i < parcel.logs.size(); ++i) {
    const ManifestEntry& entry = parcel.entries[parcel.reads.size() + i];
    logs.items.push_back(json_object({{"entry", json(parcel.logs[i].entry)},
                                      {"revision", json_digest(parcel.logs[i].revision)},
                                      {"file_name", json(parcel.logs[i].file_name)},
                                      {"size", json(entry.size)},
                                      {"digest", json_digest(entry.digest)}}));
  }
  return logs;
}

}  // namespace

std::string order_text(const Parcel& parcel, const Sheet* sheet) {
  std::string text;
  for (const std::string& name : parcel.order) {
    const SheetOption* const option = sheet == nullptr ? nullptr : sheet->find_option(name);
    text += (text.empty() ? "" : ", ") + (option == nullptr ? name : printable(option->title));
  }
  return text;
}

std::string parcel_text(const Parcel& parcel, const Sheet* sheet, const Emphasise& emphasise) {
  std::string text;
  text += parcel_line("from", parcel_fingerprint(parcel));
  text += parcel_line("number", std::to_string(parcel.number));
  text += parcel_line("made", parcel.claimed_time + " by the customer's clock" +
                                  (parcel.tool.empty() ? "" : ", by " + printable(parcel.tool)));
  text += parcel_line("for", parcel.root ? "the shop with the root " + spoken_code(Spoken::kKey, *parcel.root)
                                         : std::string("no shop by name"));
  text += parcel_line("job", parcel.job);
  text += parcel_line("vehicle", printable(parcel.vehicle_reference));
  text += parcel_line("order", order_text(parcel, sheet));
  for (const ParcelAnswer& answer : parcel.answers)
    text += lines("answer", answer.question + ": " + answer.answer);
  for (const std::string& caution : parcel.accepted) text += parcel_line("accepted", printable(caution));
  text += reads_text(parcel, emphasise);
  for (std::size_t i = 0; i < parcel.logs.size(); ++i) {
    const ParcelLog& log = parcel.logs[i];
    text += parcel_line("log " + std::to_string(i + 1),
                        file_text(log.file_name, parcel.entries[parcel.reads.size() + i]) +
                            (log.revision ? ", driven with revision " + digest_text(*log.revision) : ""));
  }
  return text + lines("words", parcel.words);
}

void add_parcel(JsonValue& value, const Parcel& parcel) {
  JsonValue members = json_object(
      {{"key", json(to_hex(parcel.key.bytes))},
       {"key_fingerprint", json(parcel_fingerprint(parcel))},
       {"number", json(parcel.number)},
       {"claimed_time", json(parcel.claimed_time)},
       {"root", json_digest(parcel.root)},
       {"sheet", json_digest(parcel.sheet)},
       {"job", json(parcel.job)},
       {"vehicle_reference", json(parcel.vehicle_reference)},
       {"words", json(parcel.words)},
       {"order", json_strings(parcel.order)},
       {"answers",
        json_array(
            parcel.answers,
            [](const ParcelAnswer& answer) {
              return json_object({{"question", json(answer.question)}, {"answer", json(answer.answer)}});
            })},
       {"accepted", json_strings(parcel.accepted)},
       {"reads", reads_json(parcel)},
       {"logs", logs_json(parcel)},
       {"tool", json(parcel.tool)}});
  for (JsonMember& member : members.members) value.members.push_back(std::move(member));
}

}  // namespace calseal
