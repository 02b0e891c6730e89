// What must hold for any bytes given to a record parser.
#pragma once

#include "calseal/image/form.h"
#include "fuzz/must.h"

namespace calseal {

// A refusal says all it must; an accepted file comes back byte for byte, takes changed bytes, and survives a
// new file.
inline void check_record_file(FormKind kind, const std::uint8_t* data, std::size_t size) {
  const Bytes file(data, data + size);
  (void)recognise_form(file);
  const Result<FormFile> form = parse_form_as(kind, file, "input");
  if (!form) {
    const Error& error = form.error();
    must_explain(error);
    must(error.file == "input" && (error.reason == Reason::kFileEmpty || error.place.starts_with("line ")),
         "a refusal names file and line");
    return;
  }
  must(write_back(*form, form->segments) == file, "what was read is written back byte for byte");

  std::vector<Segment> changed = form->segments;
  std::uint64_t past = 0;
  for (Segment& segment : changed) {
    must(!segment.bytes.empty() && (past == 0 || segment.address > past), "segments ascend apart");
    past = segment.address + segment.bytes.size();
    must(past <= kAddressLimit, "segments stay below the limit");
    for (std::uint8_t& byte : segment.bytes) byte ^= 0xa5;
  }
  const Result<Bytes> written = write_back(*form, changed);
  must(written.has_value() && written->size() == size, "other bytes take the same form");
  const Result<FormFile> again = parse_form_as(kind, *written, "written");
  must(again.has_value() && again->segments == changed, "and are read back");

  const std::string anew = kind == FormKind::kIntelHex ? write_intel_hex(changed) : write_s_record(changed);
  const Result<FormFile> parsed = parse_form(Bytes(anew.begin(), anew.end()), "anew");
  must(parsed.has_value() && parsed->kind == kind && parsed->segments == changed,
       "a new file reads as what was written");
}

}  // namespace calseal
