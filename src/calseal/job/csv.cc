#include "calseal/job/csv.h"

#include "calseal/base/text.h"

namespace calseal {

CsvReader::CsvReader(std::string_view text, char separator, std::string name)
    : text_(text), separator_(separator), name_(std::move(name)) {
  if (text_.starts_with("\xef\xbb\xbf")) at_ = 3;
}

tl::unexpected<Error> CsvReader::malformed(std::string found, std::string expected) const {
  return fail({Reason::kLogMalformed, name_, "line " + std::to_string(line_), std::move(found),
               std::move(expected), "export the log again, as comma-separated values with a header line"});
}

Result<std::string> CsvReader::quoted() {
  std::string field;
  ++at_;
  for (;;) {
    if (at_ >= text_.size()) return malformed("a quoted field without its closing quote", "a closing quote");
    const char c = text_[at_++];
    if (c == '"') {
      if (at_ >= text_.size() || text_[at_] != '"') return field;
      ++at_;
    }
    if (c == '\n') ++line_;
    if (field.size() >= kCsvFieldLimit)
      return malformed("a field of more than " + grouped(kCsvFieldLimit) + " bytes", "shorter fields");
    field += c;
  }
}

Result<std::string> CsvReader::plain() {
  const std::size_t begin = at_;
  while (at_ < text_.size() && text_[at_] != separator_ && text_[at_] != '\n' && text_[at_] != '\r') {
    if (text_[at_] == '"')
      return malformed("a quote inside a field that does not begin with one",
                       "the whole field in quotes, inner quotes doubled");
    ++at_;
  }
  if (at_ - begin > kCsvFieldLimit)
    return malformed("a field of more than " + grouped(kCsvFieldLimit) + " bytes", "shorter fields");
  return std::string(text_.substr(begin, at_ - begin));
}

Result<bool> CsvReader::next(std::vector<std::string>& fields) {
  fields.clear();
  if (at_ >= text_.size()) return false;
  record_line_ = line_;
  for (;;) {
    CALSEAL_ASSIGN(std::string field, at_ < text_.size() && text_[at_] == '"' ? quoted() : plain());
    for (const char c : field) {
      const auto byte = static_cast<unsigned char>(c);
      if ((byte < 0x20 && c != '\t' && c != '\n' && c != '\r') || byte == 0x7f)
        return malformed("a control character", "text");
    }
    if (!is_utf8(field))
      return malformed("bytes that are not UTF-8", "UTF-8, as RFC 4180 with its later charset says");
    if (fields.size() >= kCsvColumnLimit)
      return malformed("more than " + grouped(kCsvColumnLimit) + " fields", "fewer columns");
    fields.push_back(std::move(field));
    if (at_ < text_.size() && text_[at_] == separator_) {
      ++at_;
      continue;
    }
    break;
  }
  if (at_ < text_.size()) {
    if (text_[at_] == '\r') ++at_;
    if (at_ >= text_.size() || text_[at_] != '\n')
      return malformed(at_ < text_.size() && text_[at_ - 1] != '\r' ? "something behind a closing quote"
                                                                    : "a carriage return without a line feed",
                       "a separator or the end of the line");
    ++at_;
  }
  if (columns_ == 0) columns_ = fields.size();
  if (fields.size() != columns_) {
    return malformed(grouped(fields.size()) + " fields", grouped(columns_) + " fields, as in the first line");
  }
  ++line_;
  return true;
}

}  // namespace calseal
