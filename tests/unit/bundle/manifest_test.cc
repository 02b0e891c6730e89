#include "calseal/bundle/manifest.h"

#include <gtest/gtest.h>

#include <functional>

#include "calseal/bundle/manifest_consistency.h"
#include "support/matchers.h"
#include "support/sample_bundle.h"

namespace calseal {
namespace {

std::string sample_text() { return write_manifest(make_sample_bundle().manifest); }

Result<Manifest> parse(std::string_view text) { return parse_manifest(view_of(text), "m"); }

// The text with the first `from` replaced; the test fails when there is none.
std::string replaced(std::string text, std::string_view from, std::string_view to) {
  const std::size_t at = text.find(from);
  EXPECT_NE(at, std::string::npos) << from;
  return at == std::string::npos ? text : text.replace(at, from.size(), to);
}

TEST(Manifest, SampleAndBaseReadBackAsWritten) {
  for (const SampleBundle& sample : {make_sample_bundle(), make_sample_base()}) {
    const std::string text = write_manifest(sample.manifest);
    EXPECT_THAT(parse(text), IsOkAnd(sample.manifest));
  }
}

TEST(Manifest, FieldsStandInTheOrderOfTheFormat) {
  const std::string text = sample_text();
  std::size_t at = 0;
  for (const char* key : {"calseal",
                          "format",
                          "job",
                          "base",
                          "number",
                          "reason",
                          "revision",
                          "sequence",
                          "parent",
                          "set",
                          "claimed_time",
                          "trial",
                          "expires",
                          "required_roles",
                          "title",
                          "notes",
                          "vehicle_reference",
                          "salt_digest",
                          "controllers",
                          "region_map",
                          "memories",
                          "identity",
                          "binding",
                          "spans",
                          "pinned",
                          "files",
                          "checksums",
                          "patches",
                          "write_ranges",
                          "payload",
                          "permitted_returns",
                          "approvals",
                          "options",
                          "ordered",
                          "requirements",
                          "cautions",
                          "attachments",
                          "annotations",
                          "tool",
                          "entries"}) {
    const std::size_t next = text.find("\"" + std::string(key) + "\":", at);
    ASSERT_NE(next, std::string::npos) << key;
    at = next;
  }
}

TEST(Manifest, AnotherKindIsRefusedBeforeAnythingElse) {
  EXPECT_THAT(parse(replaced(sample_text(), "revision/1", "trust/1")), FailsWith(Reason::kTypeWrong));
  EXPECT_THAT(parse(replaced(sample_text(), "revision/1", "revision/2")), FailsWith(Reason::kTypeWrong));
  EXPECT_THAT(parse(" " + sample_text()), FailsWith(Reason::kTypeWrong));
  EXPECT_THAT(parse(""), FailsWith(Reason::kTypeWrong));
}

TEST(Manifest, AnUnknownFormatIsRefusedBeforeTheRestIsRead) {
  EXPECT_THAT(parse(R"({"calseal":"revision/1","format":2,***)"), FailsWith(Reason::kFormatUnknown));
  EXPECT_THAT(parse(R"({"calseal":"revision/1","format":0,)"), FailsWith(Reason::kFormatUnknown));
  EXPECT_THAT(parse(replaced(sample_text(), "\"format\":1", "\"format\": 2")),
              FailsWith(Reason::kFormatUnknown));
  EXPECT_THAT(parse(replaced(sample_text(), "\"format\":1", "\"format\":01")),
              FailsWith(Reason::kJsonSyntax));
}

TEST(Manifest, LargerThanOneMebibyteIsRefused) {
  EXPECT_THAT(parse(sample_text() + std::string(kManifestSizeLimit, ' ')), FailsWith(Reason::kFileTooLarge));
}

struct TextCase {
  const char* name;
  const char* from;
  const char* to;
  Reason reason;
};

class ManifestText : public ::testing::TestWithParam<TextCase> {};

TEST_P(ManifestText, IsRefused) {
  const TextCase& c = GetParam();
  EXPECT_THAT(parse(replaced(sample_text(), c.from, c.to)), FailsWith(c.reason));
}

constexpr TextCase kTextCases[] = {
    // strict JSON
    {"cut_off", "\"tool\":", "\"tool\"", Reason::kJsonSyntax},
    {"null", "\"notes\":", "\"notes\":null,\"x\":", Reason::kJsonType},
    {"fraction", "\"sequence\":2", "\"sequence\":2.0", Reason::kJsonNumber},
    {"negative", "\"revision\":1", "\"revision\":-1", Reason::kJsonNumber},
    {"repeated_key", "\"trial\":false", "\"trial\":false,\"trial\":false", Reason::kJsonRepeatedKey},
    {"unknown_key", "\"trial\":false", "\"trial\":false,\"extra\":1", Reason::kJsonUnknownKey},
    {"unknown_key_in_span", "\"kind\":\"locked\"", "\"kind\":\"locked\",\"x\":1", Reason::kJsonUnknownKey},
    {"missing_key", "\"trial\":false,", "", Reason::kJsonMissingKey},
    {"missing_key_in_entry", "\"method\":\"stored\",", "", Reason::kJsonMissingKey},
    {"boolean_as_text", "\"trial\":false", "\"trial\":\"false\"", Reason::kJsonType},
    // shapes of fields
    {"job_upper_case", "\"job\":\"job-7\"", "\"job\":\"Job-7\"", Reason::kJsonValue},
    {"job_empty", "\"job\":\"job-7\"", "\"job\":\"\"", Reason::kJsonValue},
    {"job_leading_hyphen", "\"job\":\"job-7\"", "\"job\":\"-job\"", Reason::kJsonValue},
    {"base_zero", "\"number\":1", "\"number\":0", Reason::kJsonValue},
    {"base_above_limit", "\"number\":1", "\"number\":1000001", Reason::kJsonValue},
    {"sequence_zero", "\"sequence\":2", "\"sequence\":0", Reason::kJsonValue},
    {"sequence_above_limit", "\"sequence\":2", "\"sequence\":1099511627777", Reason::kJsonValue},
    {"parent_short", "\"parent\":\"", "\"parent\":\"00", Reason::kJsonValue},
    {"time_without_zone", "2026-03-04T05:06:07Z", "2026-03-04T05:06:07", Reason::kJsonValue},
    {"time_that_does_not_exist", "2026-03-04", "2026-02-30", Reason::kJsonValue},
    {"role_unknown", "[\"author\"]", "[\"ledger\"]", Reason::kJsonValue},
    {"line_break_in_title", "\"title\":\"Sample\"", "\"title\":\"Sam\\nple\"", Reason::kJsonValue},
    {"grade_unknown", "\"grade\":\"verified\"", "\"grade\":\"good\"", Reason::kJsonValue},
    {"kind_unknown", "\"kind\":\"editable\"", "\"kind\":\"editible\"", Reason::kJsonValue},
    {"address_upper_case", "0x800000c0", "0x800000C0", Reason::kJsonValue},
    {"empty_range", "\"size\":17", "\"size\":0", Reason::kJsonValue},
    {"range_past_the_address_space", "\"start\":\"0x80000064\",\"size\":17",
     "\"start\":\"0xffffffff\",\"size\":17", Reason::kJsonValue},
    {"memory_too_large", "\"origin\":\"0x80000000\",\"size\":256",
     "\"origin\":\"0x80000000\",\"size\":268435457", Reason::kJsonValue},
    {"state_unknown", "\"state\":\"holds\"", "\"state\":\"maybe\"", Reason::kJsonValue},
    {"method_unknown", "\"method\":\"deflated\"", "\"method\":\"shrunk\"", Reason::kJsonValue},
    {"crc_too_long", "\"crc32\":\"0x", "\"crc32\":\"0x0", Reason::kJsonValue},
    {"entry_too_large", "\"stored_size\":9,", "\"stored_size\":268435457,", Reason::kJsonValue},
    {"annotation_of_one", "[\"colour\",\"green\"]", "[\"colour\"]", Reason::kJsonValue},
    {"annotation_of_three", "[\"colour\",\"green\"]", "[\"colour\",\"green\",\"x\"]", Reason::kJsonValue},
    // canonical form
    {"space", "\"trial\":false", "\"trial\": false", Reason::kJsonNotCanonical},
    {"swapped_keys", "\"trial\":false,\"expires\":\"\"", "\"expires\":\"\",\"trial\":false",
     Reason::kJsonNotCanonical},
    {"escaped_letter", "\"title\":\"Sample\"", "\"title\":\"\\u0053ample\"", Reason::kJsonNotCanonical},
    {"escaped_slash", "\"tool\":\"calseal 0.1.0\"", "\"tool\":\"calseal\\/1\"", Reason::kJsonNotCanonical},
    {"escaped_beyond_ascii", "caf\xc3\xa9", "caf\\u00e9", Reason::kJsonNotCanonical},
    {"upper_case_escape", "a \\u0001", "a \\u000A", Reason::kJsonNotCanonical},
    {"long_line_feed", "lines,\\n", "lines,\\u000a", Reason::kJsonNotCanonical},
};

INSTANTIATE_TEST_SUITE_P(Table, ManifestText, ::testing::ValuesIn(kTextCases),
                         [](const auto& one) { return std::string(one.param.name); });

TEST(Manifest, ExactlyOneController) {
  Manifest none = make_sample_bundle().manifest;
  none.controllers.clear();
  EXPECT_THAT(parse(write_manifest(none)), FailsWith(Reason::kJsonValue, "/controllers"));
  Manifest two = make_sample_bundle().manifest;
  two.controllers.push_back(two.controllers[0]);
  EXPECT_THAT(parse(write_manifest(two)), FailsWith(Reason::kJsonValue, "/controllers"));
}

TEST(Manifest, FinalLineFeedIsNotCanonical) {
  const std::string text = sample_text();
  EXPECT_THAT(parse(text + "\n"),
              FailsWith(Reason::kJsonNotCanonical, "byte " + std::to_string(text.size())));
}

TEST(Manifest, TheFirstDifferenceIsNamed) {
  const std::string text = sample_text();
  const std::size_t at = text.find("false");
  EXPECT_THAT(parse(replaced(text, "\"trial\":false", "\"trial\": false")),
              FailsWith(Reason::kJsonNotCanonical, "byte " + std::to_string(at)));
}

TEST(Manifest, NestingIsBounded) {
  EXPECT_THAT(parse(R"({"calseal":"revision/1","format":1,"job":)" + std::string(500000, '[')),
              FailsWith(Reason::kJsonDepth));
}

// A manifest bent in one place, still canonical.
struct BentCase {
  const char* name;
  const char* place;  // part of the pointer in the error
  std::function<void(Manifest&)> bend;
};

class ManifestConsistency : public ::testing::TestWithParam<BentCase> {};

TEST_P(ManifestConsistency, IsRefused) {
  Manifest manifest = make_sample_bundle().manifest;
  GetParam().bend(manifest);
  const auto parsed = parse(write_manifest(manifest));
  ASSERT_THAT(parsed, FailsWith(Reason::kManifestInvalid, GetParam().place));
  EXPECT_FALSE(parsed.error().found.empty() || parsed.error().expected.empty());
}

ManifestController& c(Manifest& m) { return m.controllers[0]; }
void repin(Manifest& m) {
  c(m).pinned_before = compute_pinned_digest(c(m).spans, Side::kBefore);
  c(m).pinned_after = compute_pinned_digest(c(m).spans, Side::kAfter);
}

const BentCase kBentCases[] = {
    {"payload_entry_empty", "/parts/0/entry", [](Manifest& m) { c(m).payload[0].entry.clear(); }},
    {"sequence_not_above_revision", "/sequence", [](Manifest& m) { m.sequence = 1; }},
    {"parent_missing", "/parent", [](Manifest& m) { m.parent.reset(); }},
    {"expires_without_trial", "/expires", [](Manifest& m) { m.expires = "2027-01-01T00:00:00Z"; }},
    {"trial_without_expires", "/expires", [](Manifest& m) { m.trial = true; }},
    {"trial_over_at_once", "/expires",
     [](Manifest& m) {
       m.trial = true;
       m.expires = m.claimed_time;
     }},
    {"no_role", "/required_roles", [](Manifest& m) { m.required_roles.clear(); }},
    {"no_author", "/required_roles", [](Manifest& m) { m.required_roles = {"reviewer"}; }},
    {"author_twice", "/required_roles",
     [](Manifest& m) {
       m.required_roles = {"author", "author"};
     }},
    {"roles_out_of_order", "/required_roles",
     [](Manifest& m) {
       m.required_roles = {"reviewer", "author"};
     }},
    {"no_memory", "/memories", [](Manifest& m) { c(m).memories.clear(); }},
    {"memory_twice", "/memories", [](Manifest& m) { c(m).memories[1].name = "flash"; }},
    {"memories_too_large", "/memories",
     [](Manifest& m) {
       c(m).memories[0].extent = {0x80000000, 0x90000000};
       c(m).spans[7].place.range.end = 0x90000000;
     }},
    {"known_outside", "/memories/1/known",
     [](Manifest& m) {
       c(m).memories[1].known = {{0, 33}};
     }},
    {"known_adjacent", "/memories/1/known",
     [](Manifest& m) {
       c(m).memories[1].known = {{0, 16}, {16, 32}};
     }},
    {"known_out_of_order", "/memories/1/known",
     [](Manifest& m) {
       c(m).memories[1].known = {{20, 32}, {0, 16}};
     }},
    {"known_edge_not_cut", "/spans/7", [](Manifest& m) { c(m).memories[0].known[0].end = 0x800000d0; }},
    {"span_gap", "/spans/1", [](Manifest& m) { c(m).spans[1].place.range.begin += 1; }},
    {"span_overlap", "/spans/1", [](Manifest& m) { c(m).spans[0].place.range.end += 1; }},
    {"span_missing_at_the_end", "/spans", [](Manifest& m) { c(m).spans.pop_back(); }},
    {"span_missing_in_between", "/spans/4", [](Manifest& m) { c(m).spans.erase(c(m).spans.begin() + 4); }},
    {"span_past_its_memory", "/spans/9", [](Manifest& m) { c(m).spans[9].place.range.end = 33; }},
    {"span_too_many", "/spans/10", [](Manifest& m) { c(m).spans.push_back(c(m).spans[9]); }},
    {"spans_none", "/spans", [](Manifest& m) { c(m).spans.clear(); }},
    {"span_in_unknown_memory", "/spans/0", [](Manifest& m) { c(m).spans[0].place.memory = "ram"; }},
    {"digest_missing", "/spans/1",
     [](Manifest& m) {
       c(m).spans[1].after.reset();
       repin(m);
     }},
    {"digest_of_volatile", "/spans/4",
     [](Manifest& m) {
       c(m).spans[4].before = digest_of("x");
       repin(m);
     }},
    {"digest_of_unknown", "/spans/7",
     [](Manifest& m) {
       c(m).spans[7].before = c(m).spans[7].after = digest_of("x");
       repin(m);
     }},
    {"digest_of_floating", "/spans/5", [](Manifest& m) { c(m).spans[5].after = digest_of("x"); }},
    {"digest_of_binding", "/spans/3", [](Manifest& m) { c(m).spans[3].after = digest_of("x"); }},
    {"locked_changed_without_patch", "/spans/0",
     [](Manifest& m) {
       c(m).spans[0].after = digest_of("x");
       repin(m);
     }},
    {"pinned_before_wrong", "/pinned/before", [](Manifest& m) { c(m).pinned_before = digest_of("x"); }},
    {"pinned_after_wrong", "/pinned/after", [](Manifest& m) { c(m).pinned_after = digest_of("x"); }},
    {"binding_twice", "/binding", [](Manifest& m) { c(m).binding[1].name = "vin"; }},
    {"binding_outside", "/binding/1",
     [](Manifest& m) {
       c(m).binding[1].place.range = {16, 33};
     }},
    {"binding_in_unknown_memory", "/binding/1", [](Manifest& m) { c(m).binding[1].place.memory = "ram"; }},
    {"binding_overlap", "/binding/1", [](Manifest& m) { c(m).binding[1].place = c(m).binding[0].place; }},
    {"binding_span_without_field", "/binding", [](Manifest& m) { c(m).binding.pop_back(); }},
    {"binding_field_without_span", "/binding", [](Manifest& m) { c(m).binding[1].place.range.begin = 15; }},
    {"binding_without_salt", "/binding/0/digest", [](Manifest& m) { m.salt_digest.reset(); }},
    {"binding_digest_of_unknown", "/binding/1/digest",
     [](Manifest& m) {
       c(m).memories[1].known = {{0, 16}};
       c(m).binding[1].digest = digest_of("x");
     }},
    {"identity_twice", "/identity", [](Manifest& m) { c(m).identity[1].name = "software"; }},
    {"patch_twice", "/patches",
     [](Manifest& m) {
       c(m).patches = {{"p", false, false}, {"p", true, true}};
     }},
    {"file_of_unknown_memory", "/files/0",
     [](Manifest& m) {
       c(m).files = {{"ram", "raw", 1, digest_of("x")}};
     }},
    {"files_although_not_all_pinned", "/files",
     [](Manifest& m) {
       c(m).files = {{"flash", "raw", 256, digest_of("x")}};
     }},
    {"files_out_of_order", "/files/1",
     [](Manifest& m) {
       c(m).files = {{"eeprom", "raw", 1, digest_of("x")}, {"flash", "raw", 1, digest_of("x")}};
     }},
    {"file_twice", "/files/1",
     [](Manifest& m) {
       c(m).files = {{"flash", "raw", 1, digest_of("x")}, {"flash", "raw", 1, digest_of("x")}};
     }},
    {"not_provable_with_value", "/checksums/1", [](Manifest& m) { c(m).checksums[1].value = "00"; }},
    {"write_range_outside", "/write_ranges/1",
     [](Manifest& m) { c(m).write_ranges[1].range.end = 0x80000101; }},
    {"write_range_volatile", "/write_ranges/1",
     [](Manifest& m) { c(m).write_ranges[1].range.begin = 0x8000007f; }},
    {"write_range_unknown", "/write_ranges/1",
     [](Manifest& m) { c(m).write_ranges[1].range.end = 0x800000c1; }},
    {"write_ranges_out_of_order", "/write_ranges/1",
     [](Manifest& m) { std::swap(c(m).write_ranges[0], c(m).write_ranges[1]); }},
    {"payload_of_unknown_memory", "/payload/parts/0", [](Manifest& m) { c(m).payload[0].memory = "ram"; }},
    {"payload_twice", "/payload/parts/1", [](Manifest& m) { c(m).payload.push_back(c(m).payload[0]); }},
    {"payload_missing", "/payload/parts", [](Manifest& m) { c(m).payload.clear(); }},
    {"payload_without_range", "/payload/parts/0", [](Manifest& m) { c(m).payload[0].ranges.clear(); }},
    {"payload_ranges_adjacent", "/payload/parts/0",
     [](Manifest& m) {
       c(m).payload[0].ranges = {{0x80000040, 0x80000060}, {0x80000060, 0x80000064}};
     }},
    {"payload_without_derived", "/payload/parts/0",
     [](Manifest& m) { c(m).payload[0].ranges[0].end = 0x80000060; }},
    {"payload_with_binding", "/payload/parts/0",
     [](Manifest& m) { c(m).payload[0].ranges[0].end = 0x80000065; }},
    {"payload_full_of_areas", "/payload/parts/0",
     [](Manifest& m) { c(m).payload_kind = PayloadKind::kFull; }},
    {"payload_other_entry", "/payload/parts/0/entry",
     [](Manifest& m) { c(m).payload[0].entry = "changes.json"; }},
    {"returns_out_of_order", "/permitted_returns",
     [](Manifest& m) { std::swap(m.permitted_returns[0], m.permitted_returns[1]); }},
    {"return_twice", "/permitted_returns",
     [](Manifest& m) { m.permitted_returns[1] = m.permitted_returns[0]; }},
    {"option_twice", "/options", [](Manifest& m) { m.options.push_back(m.options[0]); }},
    {"ordered_without_time", "/ordered", [](Manifest& m) { m.ordered.time = ""; }},
    {"ordered_out_of_order", "/ordered/options",
     [](Manifest& m) { std::swap(m.ordered.options[0], m.ordered.options[1]); }},
    {"ordered_twice", "/ordered/options", [](Manifest& m) { m.ordered.options[1] = m.ordered.options[0]; }},
    {"ordered_in_it_and_why_not", "/ordered/options/0/why",
     [](Manifest& m) { m.ordered.options[0].why = "next week"; }},
    {"ordered_neither_in_it_nor_why_not", "/ordered/options/1/why",
     [](Manifest& m) { m.ordered.options[1].why = ""; }},
    {"ordered_by_another_title", "/ordered/options/0/title",
     [](Manifest& m) { m.ordered.options[0].title = "Foot"; }},
    {"attachment_elsewhere", "/attachments/0", [](Manifest& m) { m.attachments[0].entry = "payload/x"; }},
    {"attachments_out_of_order", "/attachments",
     [](Manifest& m) { std::swap(m.attachments[0], m.attachments[1]); }},
    {"attachment_without_entry", "/entries/6",
     [](Manifest& m) {
       m.attachments.push_back({"attachments/z.txt", ""});
     }},
    {"stored_size_differs", "/entries/5", [](Manifest& m) { m.entries[5].stored_size = 4; }},
    {"stored_digest_differs", "/entries/5", [](Manifest& m) { m.entries[5].stored_digest = digest_of("x"); }},
    {"deflated_not_smaller", "/entries/3", [](Manifest& m) { m.entries[3].stored_size = 36; }},
    {"deflated_beyond_deflate", "/entries/4", [](Manifest& m) { m.entries[4].size = 11 * 1032 + 1; }},
    {"contents_too_large", "/entries",
     [](Manifest& m) {
       for (std::size_t i : {3, 4, 5}) {
         m.entries[i].deflated = true;
         m.entries[i].size = kEntrySizeLimit;
         m.entries[i].stored_size = kEntrySizeLimit - 1;
       }
     }},
    {"region_map_missing", "/entries/0", [](Manifest& m) { m.entries.erase(m.entries.begin()); }},
    {"region_map_of_other_controller", "/entries/0", [](Manifest& m) { c(m).name = "transmission"; }},
    {"region_map_deflated", "/entries/0/method",
     [](Manifest& m) {
       m.entries[0].deflated = true;
       m.entries[0].stored_size = 5;
     }},
    {"region_map_too_large", "/entries/0/size",
     [](Manifest& m) { m.entries[0].size = m.entries[0].stored_size = (1 << 20) + 1; }},
    {"region_map_other_digest", "/entries/0/digest", [](Manifest& m) { c(m).map_digest = digest_of("x"); }},
    {"changes_missing", "/entries/1", [](Manifest& m) { m.entries.erase(m.entries.begin() + 1); }},
    {"set_entry_without_set", "/entries/2", [](Manifest& m) { m.set.reset(); }},
    {"set_without_entry", "/entries/2", [](Manifest& m) { m.entries.erase(m.entries.begin() + 2); }},
    {"set_other_digest", "/entries/2/digest", [](Manifest& m) { m.set = digest_of("x"); }},
    {"payload_size_differs", "/entries/3/size", [](Manifest& m) { m.entries[3].size = 37; }},
    {"entries_out_of_order", "/entries/4", [](Manifest& m) { std::swap(m.entries[4], m.entries[5]); }},
    {"entry_twice", "/entries/6", [](Manifest& m) { m.entries.push_back(m.entries[5]); }},
    {"entry_unreferenced", "/entries/5", [](Manifest& m) { m.attachments.pop_back(); }},
    {"entries_none", "/entries/0", [](Manifest& m) { m.entries.clear(); }},
};

INSTANTIATE_TEST_SUITE_P(Table, ManifestConsistency, ::testing::ValuesIn(kBentCases),
                         [](const auto& one) { return std::string(one.param.name); });

class FirstRevision : public ::testing::TestWithParam<BentCase> {};

TEST_P(FirstRevision, IsRefused) {
  Manifest manifest = make_sample_base().manifest;
  GetParam().bend(manifest);
  EXPECT_THAT(parse(write_manifest(manifest)), FailsWith(Reason::kManifestInvalid, GetParam().place));
}

const BentCase kFirstCases[] = {
    {"trial", "/trial",
     [](Manifest& m) {
       m.trial = true;
       m.expires = "2027-01-01T00:00:00Z";
     }},
    {"areas", "/payload",
     [](Manifest& m) {
       c(m).payload_kind = PayloadKind::kAreas;
       c(m).payload = {sample_controller().payload};
     }},
    {"full_without_a_memory", "/payload/parts", [](Manifest& m) { c(m).payload.pop_back(); }},
    {"full_without_a_byte", "/payload/parts/1", [](Manifest& m) { c(m).payload[1].ranges[0].end = 31; }},
    {"changed_span", "/spans/1",
     [](Manifest& m) {
       c(m).spans[1].after = digest_of("x");
       repin(m);
     }},
    {"changed_patch", "/patches/0",
     [](Manifest& m) {
       c(m).patches = {{"p", false, true}};
     }},
    {"second_base_without_parent", "/parent", [](Manifest& m) { m.base_number = 2; }},
};

INSTANTIATE_TEST_SUITE_P(Table, FirstRevision, ::testing::ValuesIn(kFirstCases),
                         [](const auto& one) { return std::string(one.param.name); });

TEST(Manifest, ALaterRevisionMayCarryAllPinnedBytes) {
  SampleBundle sample = make_sample_bundle();
  ManifestController& controller = sample.manifest.controllers[0];
  controller.payload_kind = PayloadKind::kFull;
  controller.payload[0].ranges = {{0x80000000, 0x80000064}, {0x80000082, 0x800000c0}};
  ManifestEntry& entry = sample.manifest.entries[3];
  entry.size = 100 + 62;
  EXPECT_THAT(parse(write_manifest(sample.manifest)), IsOk());
  controller.payload[0].ranges[1].begin = 0x80000080;  // the floating slot
  entry.size = 100 + 64;
  EXPECT_THAT(parse(write_manifest(sample.manifest)),
              FailsWith(Reason::kManifestInvalid, "/payload/parts/0/ranges"));
}

TEST(Manifest, AnAppliedPatchMayChangeLockedBytes) {
  Manifest manifest = make_sample_bundle().manifest;
  c(manifest).patches = {{"limiter", false, true}};
  c(manifest).spans[0].after = digest_of("x");
  repin(manifest);
  EXPECT_THAT(parse(write_manifest(manifest)), IsOk());
}

TEST(Manifest, AttachmentNames) {
  for (const char* good :
       {"a", "0", "log.txt", "a.b.c", "before-and_after.json", "console.txt", "com10", "com"}) {
    EXPECT_TRUE(is_attachment_entry("attachments/" + std::string(good))) << good;
  }
  EXPECT_TRUE(is_attachment_entry("attachments/" + std::string(100, 'a')));
  EXPECT_FALSE(is_attachment_entry("attachments/" + std::string(101, 'a')));
  for (const char* bad :
       {"",    ".",   "..",  ".a",      "-a",  "_a",    "a.",  "a..b", "a/b",      "a\\b",       "A",
        "a b", "a:b", "con", "con.txt", "nul", "aux.a", "prn", "com1", "lpt9.txt", "caf\xc3\xa9"}) {
    EXPECT_FALSE(is_attachment_entry("attachments/" + std::string(bad))) << bad;
  }
  EXPECT_FALSE(is_attachment_entry("attachment/a"));
}

// No single byte of the manifest can be changed, removed or doubled and still give the same manifest.
TEST(Manifest, EveryByteCounts) {
  const Manifest manifest = make_sample_bundle().manifest;
  const std::string text = write_manifest(manifest);
  for (std::size_t i = 0; i < text.size(); i += 7) {
    std::string bent = text;
    bent[i] = static_cast<char>(bent[i] ^ 1);
    const auto parsed = parse(bent);
    EXPECT_FALSE(parsed.has_value() && *parsed == manifest) << i;
    EXPECT_FALSE(parse(text.substr(0, i)).has_value()) << i;
  }
}

}  // namespace
}  // namespace calseal
