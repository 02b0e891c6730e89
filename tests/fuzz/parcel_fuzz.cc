// Any bytes as a parcel or a customer file, and any text as a parcel.json that its own key has signed.
//
// An input that begins with 01 is a recipe that bends a sample text; one with 02 is the text; all others are
// the file itself.
#include "calseal/parcel/customer_file.h"
#include "calseal/parcel/parcel.h"
#include "fuzz/bend_json.h"
#include "fuzz/fuzz_target.h"
#include "fuzz/must.h"
#include "support/parcel_sample.h"

namespace {

using namespace calseal;

void check_file(const Bytes& file) {
  const auto opened = open_parcel(file, "input");
  if (!opened) return must_explain(opened.error());
  must(opened->file == file && opened->framing.total_size == file.size(), "a parcel is its whole file");
  std::uint64_t total = 0;
  for (std::size_t i = 0; i < opened->parcel.entries.size(); ++i) {
    const auto content = opened->content(i);
    must(content.has_value() && content->size() == opened->parcel.entries[i].size, "contents were proved");
    total += content->size();
  }
  must(total <= kContentSizeLimit, "contents keep to the limit");
  must(begins_as_parcel(file), "a parcel is told by its beginning");
}

void check_text(const std::string& text) {
  if (text.empty() || text.size() > kManifestSizeLimit) return;
  const ParcelSample sample = sample_parcel();
  const Bytes file = assemble_text(sample, text);
  const auto opened = open_parcel(file, "input");
  if (!opened) return must_explain(opened.error());
  must(write_parcel_text(opened->parcel) == text, "what is accepted is the one canonical text");
}

void check_customer(ByteView bytes) {
  const auto customer = parse_customer_file(bytes, "input");
  if (!customer) return must_explain(customer.error());
  const auto again = write_customer_file(*customer);
  must(again.has_value() && *again == text_of(bytes), "a customer file has one form");
}

}  // namespace

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  static const std::string sample = write_parcel_text(sample_parcel().parcel);
  static const bool sound = open_parcel(assemble(sample_parcel()), "sample").has_value();
  must(sound, "the sample is accepted");
  if (size > 0 && data[0] == 0x01) {
    const Recipe recipe(data + 1, size - 1);
    check_text(bent_json(sample, recipe.bends));
  } else if (size > 0 && data[0] == 0x02) {
    check_text({data + 1, data + size});
  } else {
    check_file(Bytes(data, data + size));
    check_customer({data, size});
  }
  return 0;
}
