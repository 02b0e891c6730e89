#include "calseal/job/csv.h"

#include "calseal/base/text.h"

namespace calseal {

tl::unexpected<Error> CsvReader::malformed(std::string found, std::string expected) const {
  return fail({Reason::kLogMalformed, name_, "line " + std::to_string(lines_.number()), std::move(found),
               std::move(expected), "export the log again, one row a line"});
}

Result<std::string> CsvReader::quoted() {
  std::string field;
  ++at_;
  for (;;) {
    if (at_ >= text_.size()) {
      std::string more;
      CALSEAL_ASSIGN(const bool any, lines_.next(more));
      if (!any) return malformed("a quoted field without its closing quote", "a closing quote");
      text_ = "\n" + more;
      at_ = 0;
    }
    const char c = text_[at_++];
    if (c == '"') {
      if (at_ >= text_.size() || text_[at_] != '"') return field;
      ++at_;
    }
    if (field.size() >= kCsvFieldLimit)
      return malformed("a field of more than " + grouped(kCsvFieldLimit) + " bytes", "shorter fields");
    field += c;
  }
}

Result<std::string> CsvReader::plain() {
  const std::size_t end = std::min(text_.find(separator_, at_), text_.size());
  const std::string field = text_.substr(at_, end - at_);
  at_ = end;
  if (field.find('"') != std::string::npos)
    return malformed("a quote inside a field that does not begin with one",
                     "the whole field in quotes, inner quotes doubled");
  if (field.size() > kCsvFieldLimit)
    return malformed("a field of more than " + grouped(kCsvFieldLimit) + " bytes", "shorter fields");
  return field;
}

Result<bool> CsvReader::next(std::vector<std::string>& fields) {
  fields.clear();
  CALSEAL_ASSIGN(const bool any, lines_.next(text_));
  if (!any) return false;
  record_line_ = lines_.number();
  at_ = 0;
  for (;;) {
    CALSEAL_ASSIGN(std::string field, at_ < text_.size() && text_[at_] == '"' ? quoted() : plain());
    if (fields.size() >= kCsvColumnLimit)
      return malformed("more than " + grouped(kCsvColumnLimit) + " fields", "fewer columns");
    fields.push_back(std::move(field));
    if (at_ >= text_.size()) return true;
    if (text_[at_] != separator_)
      return malformed("something behind a closing quote", "a separator or the end of the line");
    ++at_;
  }
}

std::vector<std::string> CsvReader::split(const std::string& line, char separator) {
  bool given = false;
  LogLines lines(
      [&]() -> Result<ByteView> {
        const bool first = !given;
        given = true;
        return first ? view_of(line) : ByteView{};
      },
      "");
  std::vector<std::string> fields;
  const auto read = CsvReader(lines, separator, "").next(fields);
  if (!read) fields.clear();
  return fields;
}

}  // namespace calseal
