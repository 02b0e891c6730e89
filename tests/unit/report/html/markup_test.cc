#include "calseal/report/html/markup.h"

#include <gmock/gmock.h>

#include <algorithm>

#include "calseal/report/html/document.h"
#include "calseal/report/html/parts.h"
#include "support/random.h"

namespace calseal {
namespace {

using ::testing::HasSubstr;
using ::testing::Not;

TEST(Markup, TextStaysText) {
  EXPECT_EQ(Html("<script>alert(1)</script>").markup(), "&lt;script&gt;alert(1)&lt;/script&gt;");
  EXPECT_EQ(element("p", "a & b < c").markup(), "<p>a &amp; b &lt; c</p>");
  EXPECT_EQ(element("p", {{"title", "\" onload='x'"}}, "y").markup(),
            "<p title=\"&quot; onload=&#39;x&#39;\">y</p>");
  EXPECT_EQ(Html("&lt;").markup(), "&amp;lt;");
}

TEST(Markup, ClassesStandInTheName) {
  EXPECT_EQ(element("td.number.quiet", "7").markup(), "<td class=\"number quiet\">7</td>");
  EXPECT_EQ(element("br").markup(), "<br>");
  EXPECT_EQ(element("p", element("b", "x"), "y").markup(), "<p><b>x</b>y</p>");
}

TEST(Markup, NoByteOfATextOpensOrEndsAnything) {
  for (int byte = 0; byte < 256; ++byte) {
    const std::string text = {'a', static_cast<char>(byte), 'b'};
    const std::string made = element("p", {{"title", text}}, text).markup();
    EXPECT_EQ(std::ranges::count(made, '<'), 2) << byte;
    EXPECT_EQ(std::ranges::count(made, '>'), 2) << byte;
    EXPECT_EQ(std::ranges::count(made, '"'), 2) << byte;
    EXPECT_TRUE(std::ranges::all_of(made, [](char c) { return static_cast<unsigned char>(c) >= 0x20; }))
        << byte;
  }
}

TEST(Markup, RandomBytesNeitherOpenNorEndAnything) {
  Random random;
  for (int i = 0; i < 2000; ++i) {
    const Bytes bytes = random.bytes(static_cast<std::size_t>(random.between(0, 64)));
    const std::string made =
        element("p", {{"title", std::string(text_of(bytes))}}, said(text_of(bytes))).markup();
    EXPECT_EQ(std::ranges::count(made, '<'), 4);
    EXPECT_EQ(std::ranges::count(made, '"'), 2);
  }
}

TEST(Markup, DirectionCannotBeTurned) {
  // U+202E, U+2066, U+200F and a zero byte.
  const std::string made = said(std::string_view("a\xe2\x80\xae"
                                                 "b\xe2\x81\xa6"
                                                 "c\xe2\x80\x8f\0d",
                                                 14))
                               .markup();
  EXPECT_THAT(made, Not(HasSubstr("\xe2\x80\xae")));
  EXPECT_THAT(made, Not(HasSubstr("\xe2\x81\xa6")));
  EXPECT_THAT(made, Not(HasSubstr("\xe2\x80\x8f")));
  EXPECT_THAT(made, HasSubstr("\\u202e"));
  EXPECT_THAT(made, ::testing::StartsWith("<bdi>"));
}

TEST(Markup, LongTextIsCut) {
  const std::string made = Html(std::string(100'000, 'x')).markup();
  EXPECT_LE(made.size(), kMarkupTextLimit + 3);
  EXPECT_THAT(made, ::testing::EndsWith("..."));
  std::string lines;
  for (int i = 0; i < 1000; ++i) lines += "line\n";
  EXPECT_THAT(said_lines(lines, 10).markup(), HasSubstr("990 more lines"));
}

TEST(Document, AllowsItsStyleAndNothingElse) {
  const std::string page = html_document({"</title><script>x</script>", "calseal", element("h1", "x")});
  EXPECT_THAT(page,
              ::testing::StartsWith("<!doctype html>\n<html lang=\"en\"><head><meta charset=\"utf-8\">"));
  EXPECT_THAT(page, HasSubstr("default-src &#39;none&#39;; style-src &#39;sha256-"));
  EXPECT_THAT(page, Not(HasSubstr("<script")));
  EXPECT_EQ(report_style().find('<'), std::string_view::npos);
  EXPECT_THAT(std::string(report_style()), Not(HasSubstr("url(")));
  EXPECT_THAT(std::string(report_style()), Not(HasSubstr("@import")));
  EXPECT_EQ(page, html_document({"</title><script>x</script>", "calseal", element("h1", "x")}));
}

TEST(Document, WordsAtTheEdgeOfPaperCannotLeaveTheirString) {
  const PaperEdge edge{"job \"};}</style><script>\\x\n", "", paper_state(true, false)};
  const std::string page = html_document({"t", "calseal", Html(), edge});
  EXPECT_THAT(page, HasSubstr("content:\"job \\22 \\7d \\3b \\7d \\3c \\2f style"));
  EXPECT_THAT(page, HasSubstr("content:\"verified\\2c  claimed\""));
  EXPECT_THAT(page, Not(HasSubstr("<script")));
  EXPECT_THAT(page, Not(HasSubstr("identity")));
  EXPECT_EQ(paper_state(false, true), "DRAFT, proved");
}

TEST(Parts, SizesAreWholeUnitsOrBytes) {
  EXPECT_EQ(size_words(0), "0 bytes");
  EXPECT_EQ(size_words(1), "1 byte");
  EXPECT_EQ(size_words(1024), "1 KiB");
  EXPECT_EQ(size_words(1025), "1,025 bytes");
  EXPECT_EQ(size_words(4194304), "4 MiB");
}

TEST(Parts, FactsWithoutContentAreLeftOut) {
  Facts facts;
  facts.add("a", Html());
  EXPECT_TRUE(facts.html().empty());
  facts.add("b", "c");
  EXPECT_EQ(facts.html().markup(), "<dl><div><dt>b</dt><dd>c</dd></div></dl>");
}

}  // namespace
}  // namespace calseal
