#include "calseal/image/form.h"

#include <utility>

#include "calseal/base/text.h"
#include "calseal/image/record_text.h"

namespace calseal {
namespace {

Result<FormFile> parse_raw(Bytes file) {
  FormFile form;
  form.segments.push_back(Segment{0, file});
  form.original = std::move(file);
  return form;
}

Result<FormFile> parse_unnamed(FormKind kind, Bytes file) {
  if (file.empty()) {
    return fail({Reason::kFileEmpty, "", "", "no bytes", "a controller image",
                 "Give the file that the read was saved to; if it is this one, read the controller again."});
  }
  if (kind == FormKind::kRaw) return parse_raw(std::move(file));
  if (file.size() > kRecordTextLimit) {
    return fail({Reason::kFileTooLarge, "", "", grouped(file.size()) + " bytes of records",
                 "at most " + grouped(kRecordTextLimit), "Give the image as a raw file."});
  }
  return kind == FormKind::kIntelHex ? record_text::parse_intel_hex(std::move(file))
                                     : record_text::parse_s_record(std::move(file));
}

}  // namespace

Result<FormFile> parse_form(Bytes file, const std::string& name) {
  const FormKind kind = recognise_form(file);
  return parse_form_as(kind, std::move(file), name);
}

Result<FormFile> parse_form_as(FormKind kind, Bytes file, const std::string& name) {
  Result<FormFile> form = parse_unnamed(kind, std::move(file));
  if (!form) return fail(in_file(std::move(form).error(), name));
  return form;
}

}  // namespace calseal
