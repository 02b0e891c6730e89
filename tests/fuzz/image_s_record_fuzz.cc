#include "fuzz/fuzz_target.h"
#include "fuzz/image_form_property.h"

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  calseal::check_record_file(calseal::FormKind::kSRecord, data, size);
  return 0;
}
