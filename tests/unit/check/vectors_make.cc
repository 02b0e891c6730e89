// Makes fixtures/bundles/ anew. Fixed keys, fixed times, invented images. Never runs by itself:
// fixtures/bundles/README.md says how, and the folder that it writes to must be named, so nothing is recorded
// again in silence.
#include <gtest/gtest.h>

#include <cstdlib>
#include <fstream>
#include <functional>
#include <map>

#include "calseal/base/json_write.h"
#include "calseal/image/form.h"
#include "calseal/trust/spoken_code.h"
#include "support/bent_bundle.h"
#include "support/forgery.h"

namespace calseal {
namespace {

Bytes bytes_of(std::string_view text) { return {text.begin(), text.end()}; }

// A controller of 64 bytes, for whatever the image does not matter to: "TINY", 16 editable bytes at 0x10,
// their CRC-16 at 0x20.
constexpr std::string_view kTinyMap =
    R"({"calseal":"region-map/1","name":"tiny","controller":"engine","version":1,)"
    R"("memories":[{"name":"flash","origin":"0x80000000","size":64}],)"
    R"("regions":[{"name":"fuel","memory":"flash","start":"0x80000010","size":16,"policy":"editable"}],)"
    R"("checksums":[{"name":"fuel","algorithm":{"crc":"CRC-16/IBM-3740"},"coverage":[{"memory":"flash","start":"0x80000010","size":16}],)"
    R"("slots":[{"memory":"flash","at":"0x80000020","size":2}]}],)"
    R"("evidence":{"author":"tests","verified_on":[],"guesses":[],"grade":"draft"}})"
    "\n";

Bytes tiny_image(std::uint8_t value) {
  Bytes image(64, 0xff);
  put(image, 0, "TINY");
  for (std::size_t i = 0; i < 16; ++i) image[0x10 + i] = static_cast<std::uint8_t>(i);
  image[0x14] = value;
  small::put_little(image, 0x20, small::crc16(ByteView(image).subspan(0x10, 16)), 2);
  return image;
}

// A code as somebody types it: a small letter, and separators of many kinds.
std::string as_typed(std::string code) {
  constexpr std::string_view kBetween[] = {" \u2013 ", ", ", ".", "\u00a0", "\u3000", "-", "\n"};
  code[0] = static_cast<char>(code[0] - 'A' + 'a');
  std::string typed;
  std::size_t groups = 0;
  for (const char c : code) {
    if (c == ' ')
      typed += kBetween[groups++ % std::size(kBetween)];
    else
      typed += c;
  }
  return typed + ".";
}

struct Row {
  std::string name, bundle, trust = "shop.trust", stated_root, salt;
  std::vector<std::string> reads;
  std::string vehicle_reference;
  bool read_is_fresh = true, revive = false, seal_only = false;
  std::string now = "2026-03-04T05:06:07Z", expect;
  std::vector<std::pair<std::string, std::string>> results;
  std::string note;
};

class Making {
 public:
  Making() : tiny_map_(*parse_region_map(bytes_of(kTinyMap), "tiny.json")) {}

  void run() {
    make_reads();
    make_trust_files();
    make_accepted();
    make_size_and_prefix();
    make_signatures();
    make_type_and_format();
    make_json();
    make_manifest_invalid();
    make_forged_manifests();
    make_framing();
    make_contents();
    make_trust();
    make_matching();
    make_claims();
  }

  void write(const std::string& folder) const {
    for (const auto& [name, bytes] : files_) save(folder + "/" + name, bytes);
    std::string index = "{\"calseal\":\"bundle-vectors/1\",\"vectors\":[\n";
    for (const Row& row : rows_) {
      JsonValue results;
      results.kind = JsonValue::Kind::kObject;
      for (const auto& [memory, digest] : row.results) results.members.emplace_back(memory, json(digest));
      index += canonical_json(json_object({{"name", json(row.name)},
                                           {"bundle", json(row.bundle)},
                                           {"trust", json(row.trust)},
                                           {"stated_root", json(row.stated_root)},
                                           {"salt", json(row.salt)},
                                           {"reads", json_strings(row.reads)},
                                           {"vehicle_reference", json(row.vehicle_reference)},
                                           {"read_is_fresh", json(row.read_is_fresh)},
                                           {"revive", json(row.revive)},
                                           {"seal_only", json(row.seal_only)},
                                           {"now", json(row.now)},
                                           {"expect", json(row.expect)},
                                           {"results", results},
                                           {"note", json(row.note)}}));
      index += &row == &rows_.back() ? "\n" : ",\n";
    }
    save(folder + "/index.json", bytes_of(index + "]}\n"));
  }

 private:
  static void save(const std::string& path, const Bytes& bytes) {
    std::ofstream out(path, std::ios::binary);
    out.write(reinterpret_cast<const char*>(bytes.data()), static_cast<std::streamsize>(bytes.size()));
    if (!out.flush()) throw std::runtime_error("cannot write " + path);
  }

  std::string file(const std::string& name, const Bytes& bytes) {
    const auto [at, added] = files_.emplace(name, bytes);
    if (!added && at->second != bytes) throw std::runtime_error("two files " + name);
    return name;
  }

  static SealedBundle good(Result<SealedBundle> sealed) {
    if (!sealed) {
      throw std::runtime_error(std::string(code(sealed.error().reason)) + " " + sealed.error().place + " " +
                               sealed.error().found);
    }
    return *std::move(sealed);
  }

  // A row of the tiny controller.
  Row& tiny_row(const std::string& name, const std::string& bundle, const std::string& expect,
                const std::string& note) {
    Row row;
    row.name = name;
    row.bundle = bundle;
    row.reads = {"flash=tiny.bin"};
    row.vehicle_reference = "blue estate";
    row.expect = expect;
    row.note = note;
    rows_.push_back(row);
    return rows_.back();
  }
  // With a bundle of its own.
  Row& tiny(const std::string& name, const Bytes& bundle, const std::string& expect,
            const std::string& note) {
    return tiny_row(name, file(name + ".calseal", bundle), expect, note);
  }
  // With the good bundle and some trust file.
  Row& tiny_good(const std::string& trust, const std::string& name, const std::string& expect,
                 const std::string& note) {
    Row& row = tiny_row(name, "tiny-revision.calseal", expect, note);
    row.trust = trust;
    return row;
  }

  // A row of the small controller, with all the evidence that there is.
  Row& small(const std::string& name, const std::string& bundle, const std::string& flash,
             const std::string& expect, const std::string& note) {
    Row row;
    row.name = name;
    row.bundle = bundle;
    row.salt = "job.salt";
    row.reads = {"flash=" + flash, "eeprom=" + (flash.starts_with("driven") ? std::string("driven-eeprom.bin")
                                                                            : "base-eeprom.bin")};
    row.expect = expect;
    row.note = note;
    rows_.push_back(row);
    return rows_.back();
  }
  static void results(Row& row, const SmallImage& image) {
    row.results = {{"flash", digest_text(compute_sha256(image.flash))},
                   {"eeprom", digest_text(compute_sha256(image.eeprom))}};
  }

  SealRequest tiny_request(std::uint64_t revision, std::uint8_t value) const {
    SealRequest request;
    request.map = &tiny_map_;
    RevisionStatement& s = request.statement;
    s.job = "job-7";
    s.revision = revision;
    s.sequence = revision + 1;
    if (revision != 0) s.parent = compute_sha256(view_of("parent"));
    s.title = "tiny";
    s.vehicle_reference = "blue estate";
    s.tool = "tests";
    s.claimed_time = job_.time;
    request.base = blank_image(tiny_map_);
    request.base.memories[0].bytes = tiny_image(4);
    request.base.memories[0].known = RangeSet(request.base.memories[0].extent);
    request.result = request.base;
    request.result.memories[0].bytes = tiny_image(value);
    if (revision == 0) request.files = {{"flash", "raw", 64, compute_sha256(tiny_image(4))}};
    return request;
  }

  SealedBundle tiny_sealed(const SealRequest& request) const {
    return good(seal(request, {job_.author}, job_.trust));
  }

  void make_reads() {
    const auto pair = [&](const std::string& name, const SmallImage& image) {
      file(name + "-flash.bin", image.flash);
      file(name + "-eeprom.bin", image.eeprom);
    };
    pair("base", job_.base);
    pair("driven", driven_small(job_.base, 42));
    file("edited-flash.bin", edited_small(job_.base, 9).flash);
    file("edited-eeprom.bin", edited_small(job_.base, 9).eeprom);
    const std::string hex = write_intel_hex({{kFlash, job_.base.flash}});
    file("base-flash.hex", bytes_of(hex));
    file("base-flash.s19", bytes_of(write_s_record({{kFlash, job_.base.flash}})));
    file("tiny.bin", tiny_image(4));
    file("tiny-edited.bin", tiny_image(9));
    file("job.salt", bytes_of(to_hex(job_.salt) + "\n"));
    file("other.salt", bytes_of(std::string(64, '1') + "\n"));
  }

  void trust_file(const std::string& name, const std::function<void(TrustFile&)>& bend) {
    TrustFile trust = job_.trust;
    bend(trust);
    const auto text = seal_trust_file(trust, job_.root);
    if (!text) throw std::runtime_error("trust file " + name + ": " + text.error().found);
    file(name + ".trust", bytes_of(*text));
  }
  TrustedKey& author_of(TrustFile& trust) const {
    return *std::ranges::find(trust.keys, job_.author.id(), &TrustedKey::id);
  }

  // A fifth key beside the author, who is compromised and out of validity where that is asked for.
  TrustFile with_second(Role role, bool author_compromised) const {
    TrustFile trust = job_.trust;
    if (author_compromised) {
      author_of(trust).compromised = true;
      author_of(trust).valid_until = "2026-02-01T00:00:00Z";
    }
    trust.keys.push_back(small_trusted(second_, "Second author", role));
    std::ranges::sort(trust.keys, {}, &TrustedKey::id);
    return trust;
  }

  void make_trust_files() {
    trust_file("shop", [](TrustFile&) {});
    trust_file("compromised", [&](TrustFile& t) { author_of(t).compromised = true; });
    trust_file("author-replaced", [&](TrustFile& t) { t = with_second(Role::kAuthor, true); });
    trust_file("author-reviewed", [&](TrustFile& t) { t = with_second(Role::kReviewer, true); });
    trust_file("pinned-heads", [&](TrustFile& t) {
      t.ledger_heads = {{1, compute_sha256(view_of("one"))}, {9, compute_sha256(view_of("nine"))}};
    });
    trust_file("scope-job", [&](TrustFile& t) { author_of(t).jobs = {"job-6", "job-8"}; });
    trust_file("scope-controller", [&](TrustFile& t) { author_of(t).controllers = {"transmission"}; });
    trust_file("scope-map",
               [&](TrustFile& t) { author_of(t).region_maps = {compute_sha256(view_of("another"))}; });
    trust_file("scope-fits", [&](TrustFile& t) {
      author_of(t).jobs = {"job-6", "job-7"};
      author_of(t).controllers = {"engine"};
      author_of(t).region_maps = {tiny_map_.digest};
    });
    trust_file("not-yet-valid", [&](TrustFile& t) { author_of(t).valid_from = "2026-03-04T05:06:08Z"; });
    trust_file("no-longer-valid", [&](TrustFile& t) { author_of(t).valid_until = "2026-03-04T05:06:07Z"; });
    trust_file("last-second", [&](TrustFile& t) {
      author_of(t).valid_from = "2026-03-04T05:06:07Z";
      author_of(t).valid_until = "2026-03-04T05:06:08Z";
    });
    trust_file("threshold-2", [](TrustFile& t) { t.threshold = 2; });
    trust_file("author-not-listed", [&](TrustFile& t) {
      std::erase_if(t.keys, [&](const auto& k) { return k.id == job_.author.id(); });
    });
    trust_file("author-is-ledger", [&](TrustFile& t) { author_of(t).roles = {Role::kLedger}; });
    trust_file("everything-spoilt", [&](TrustFile& t) {
      author_of(t).compromised = true;
      author_of(t).jobs = {"job-8"};
      author_of(t).valid_from = "2026-03-04T05:06:08Z";
      t.threshold = 2;
    });

    const std::string text = write_trust_text(job_.trust);
    const auto sign = [&](const std::string& name, const std::string& line, const SigningKeys& keys) {
      file(name + ".trust", bytes_of(*sign_statement(line, keys)));
    };
    sign("signed-by-another", text, {job_.stranger});
    sign("two-signatures", text, {job_.root, job_.author});
    sign("not-canonical", replaced(text, "\"version\":1", "\"version\": 1"), {job_.root});
    sign("unknown-field", replaced(text, "\"next_root\"", "\"more\":1,\"next_root\""), {job_.root});
    sign("threshold-0", replaced(text, "\"threshold\":1", "\"threshold\":0"), {job_.root});
    std::string lines(text_of(files_.at("two-signatures.trust")));
    const std::size_t first = lines.find('\n') + 1, second = lines.find('\n', first) + 1;
    file("signatures-descending.trust",
         bytes_of(lines.substr(0, first) + lines.substr(second) + lines.substr(first, second - first)));
    file("unsigned.trust", bytes_of(text + "\n"));
    file("signature-cut.trust", bytes_of(lines.substr(0, second - 2) + "\n"));
    Bytes damaged = files_.at("shop.trust");
    damaged[80] ^= 1U;
    file("one-bit.trust", damaged);
    Bytes cut = files_.at("shop.trust");
    cut.pop_back();
    file("no-line-end.trust", cut);
    file("other-kind.trust",
         bytes_of(*sign_statement(R"({"calseal":"withdrawal/1","version":1})", {job_.root})));

    TrustFile weak = job_.trust;
    weak.keys[0].public_key = PublicKey{};
    weak.keys[0].public_key.bytes[0] = 1;  // the neutral point
    weak.keys[0].id = compute_key_id(weak.keys[0].public_key);
    std::ranges::sort(weak.keys, {}, &TrustedKey::id);
    sign("weak-key", write_trust_text(weak), {job_.root});
    weak = job_.trust;
    weak.root = PublicKey{};
    sign("weak-root", write_trust_text(weak), {job_.root});
    TrustFile bent = job_.trust;
    std::swap(bent.keys[0], bent.keys[1]);
    sign("keys-descending", write_trust_text(bent), {job_.root});
    bent = job_.trust;
    std::swap(bent.keys[0].id, bent.keys[1].id);
    sign("id-of-another-key", write_trust_text(bent), {job_.root});
    bent = job_.trust;
    bent.keys[0].roles.clear();
    sign("no-roles", write_trust_text(bent), {job_.root});
    bent = job_.trust;
    bent.keys[0].valid_until = bent.keys[0].valid_from;
    sign("never-valid", write_trust_text(bent), {job_.root});
    bent = job_.trust;
    bent.ledger_heads = {{9, Sha256{}}, {1, Sha256{}}};
    sign("heads-descending", write_trust_text(bent), {job_.root});
    bent = job_.trust;
    bent.keys.push_back(small_trusted(job_.root, "Root", Role::kAuthor));
    std::ranges::sort(bent.keys, {}, &TrustedKey::id);
    sign("root-among-keys", write_trust_text(bent), {job_.root});
  }

  void make_accepted() {
    const SmallImage edited = edited_small(job_.base, 9);
    tiny_ = tiny_sealed(tiny_request(1, 9));
    file("tiny-revision.calseal", tiny_.file);
    const auto tiny_result = [](Row& row, std::uint8_t value) {
      row.results = {{"flash", digest_text(compute_sha256(tiny_image(value)))}};
    };
    tiny_result(tiny_good("shop.trust", "tiny-revision", "accepted",
                          "the bundle that docs/bundle-format.md prints byte by byte"),
                9);
    tiny_result(tiny_good("scope-fits.trust", "scope-fits", "accepted",
                          "job, controller and region map are all in the scope"),
                9);
    tiny_result(tiny_good("last-second.trust", "validity-last-second", "accepted",
                          "from is inclusive, until exclusive"),
                9);
    tiny_base_ = tiny_sealed(tiny_request(0, 4));
    file("tiny-base.calseal", tiny_base_.file);
    Row& way_back = tiny_row("tiny-way-back", "tiny-base.calseal", "accepted",
                             "revision 0 over a controller that runs revision 1");
    way_back.reads = {"flash=tiny-edited.bin"};
    tiny_result(way_back, 4);
    {
      SealRequest again = tiny_request(0, 4);
      again.statement.sequence = 3;
      again.statement.parent = tiny_.digest;
      Row& row = tiny("tiny-base-again", tiny_sealed(again).file, "accepted",
                      "revision 0 sealed once more, with a parent");
      row.reads = {"flash=tiny-edited.bin"};
      tiny_result(row, 4);
    }
    {
      SealRequest full = tiny_request(1, 9);
      full.payload = PayloadKind::kFull;
      tiny_full_ = tiny_sealed(full);
      tiny_result(tiny("tiny-full", tiny_full_.file, "accepted", "the whole pinned image travels"), 9);
    }
    {
      // Every field filled, with everything that a string may need to escape.
      SealRequest much = tiny_request(1, 9);
      RevisionStatement& s = much.statement;
      s.title = "quote \" backslash \\ slash / umlaut \xc3\xbc";
      s.notes = "line\nline\ttab\r\b\f\x01\x1f\x7f and \xe2\x82\xac \xf0\x9f\x94\xa7";
      s.expires = "2026-04-01T00:00:00Z";
      s.permitted_returns = {tiny_base_.digest};
      s.options = {{"flat-foot", "Flat foot shifting", compute_sha256(view_of("option"))}};
      s.ordered = {"2026-02-28T20:00:00Z",
                   compute_sha256(view_of("parcel.json")),
                   {{"flat-foot", "Flat foot shifting", ""},
                    {"second-fan", "", "no file of it for this software \"number\""}}};
      s.requirements = {"98 octane"};
      s.cautions = {"not for the road"};
      s.attachments = {{"a-photo.txt", "A photo", bytes_of("not really a photo\n")},
                       {"log.csv", "A log", Bytes(3000, '7')}};
      s.annotations = {{"bench", "rolling road 2"}, {"again", "a second"}};
      tiny_result(tiny("tiny-everything", tiny_sealed(much).file, "accepted",
                       "every field filled; a trial; two attachments, one deflated"),
                  9);
      Row& over =
          tiny_row("trial-over", "tiny-everything.calseal", "expired", "the trial ends in this very second");
      over.now = "2026-04-01T00:00:00Z";
    }
    {
      SealRequest two = tiny_request(1, 9);
      two.statement.required_roles = {"author", "reviewer"};
      const SealedBundle both = good(seal(two, {job_.author, job_.reviewer}, job_.trust));
      Row& row =
          tiny("two-signatures", both.file, "accepted", "author and reviewer, and the policy wants two");
      row.trust = "threshold-2.trust";
      tiny_result(row, 9);
      const SealedBundle one = good(seal(two, {job_.author}, job_.trust));
      tiny("reviewer-missing", one.file, "roles-missing", "the manifest requires a reviewer");
    }
    {
      const SealedBundle both =
          good(seal(tiny_request(1, 9), {job_.author, second_}, with_second(Role::kAuthor, false)));
      Row& row = tiny("counter-signed", both.file, "accepted",
                      "the author's key is compromised and no longer valid; another author stands in");
      row.trust = "author-replaced.trust";
      tiny_result(row, 9);
      Row& reviewed = tiny_row("counter-signed-by-no-author", "counter-signed.calseal", "key-compromised",
                               "beside the compromised key there is no author");
      reviewed.trust = "author-reviewed.trust";
    }
    {
      Row& row =
          tiny_good("pinned-heads.trust", "pinned-heads", "accepted", "heads change nothing by themselves");
      tiny_result(row, 9);
    }
    {
      Row& row = tiny_good("shop.trust", "seal-alone", "authentic",
                           "only the seal is asked for; a read is not needed");
      row.reads.clear();
      row.vehicle_reference.clear();
      row.seal_only = true;
    }
    Row& stated = tiny_good("shop.trust", "root-stated", "accepted", "the root's spoken code, as read aloud");
    stated.stated_root = spoken_code(Spoken::kKey, job_.root.id());
    tiny_result(stated, 9);
    Row& together = tiny_good("shop.trust", "root-stated-together", "accepted",
                              "letter and groups without anything between them");
    together.stated_root = spoken_code(Spoken::kKey, job_.root.id());
    std::erase(together.stated_root, ' ');
    tiny_result(together, 9);
    Row& typed = tiny_good("shop.trust", "root-stated-typed", "accepted",
                           "a small letter, dots, commas, dashes, spaces and line ends count for nothing");
    typed.stated_root = as_typed(spoken_code(Spoken::kKey, job_.root.id()));
    tiny_result(typed, 9);
    Row& stated_id = tiny_good("shop.trust", "root-stated-as-id", "accepted", "the root's key id");
    stated_id.stated_root = digest_text(job_.root.id());
    tiny_result(stated_id, 9);
    Row& id_typed = tiny_good("shop.trust", "root-stated-as-id-typed", "accepted",
                              "white space around the key id counts for nothing");
    id_typed.stated_root = " \u00a0" + digest_text(job_.root.id()) + "\r\n";
    tiny_result(id_typed, 9);

    const SealedBundle base = good(job_.seal_base());
    file("small-base.calseal", base.file);
    results(small("small-base", "small-base.calseal", "base-flash.bin", "accepted",
                  "revision 0 over the base itself"),
            job_.base);
    Row& back = small("small-way-back", "small-base.calseal", "edited-flash.bin", "accepted",
                      "from revision 1 back to the base");
    back.reads[1] = "eeprom=edited-eeprom.bin";
    results(back, job_.base);
    results(small("small-way-back-driven", "small-base.calseal", "driven-flash.bin", "accepted",
                  "the full payload carries learned values; those of the read stay"),
            driven_small(job_.base, 42));
    Row& revived = small("small-revive", "small-base.calseal", "base-flash.bin", "accepted",
                         "no read; the vehicle reference is the word for it");
    revived.reads.clear();
    revived.revive = true;
    revived.vehicle_reference = "blue estate";
    results(revived, job_.base);

    SealRequest first = job_.request(1, edited);
    first.statement.parent = base.digest;
    small_ = good(seal(first, {job_.author}, job_.trust));
    file("small-revision.calseal", small_.file);
    results(small("small-revision", "small-revision.calseal", "base-flash.bin", "accepted",
                  "areas over the base"),
            edited);
    results(small("small-revision-driven", "small-revision.calseal", "driven-flash.bin", "accepted",
                  "other learned values: they stay, and the checksum over them is computed anew"),
            driven_small(edited, 42));
    Row& hex = small("small-revision-hex", "small-revision.calseal", "base-flash.hex", "accepted",
                     "an Intel HEX read comes back as one");
    results(hex, edited);
    hex.results[0].second = digest_text(compute_sha256(view_of(write_intel_hex({{kFlash, edited.flash}}))));
    Row& records = small("small-revision-s-record", "small-revision.calseal", "base-flash.s19", "accepted",
                         "an S-record read comes back as one");
    results(records, edited);
    records.results[0].second =
        digest_text(compute_sha256(view_of(write_s_record({{kFlash, edited.flash}}))));
    Row& word = small("small-revision-by-reference", "small-revision.calseal", "base-flash.bin", "accepted",
                      "without the salt the reference must say which vehicle");
    word.salt.clear();
    word.vehicle_reference = "blue estate";
    results(word, edited);

    SealRequest whole = job_.request(1, edited);
    whole.payload = PayloadKind::kFull;
    file("small-full.calseal", good(seal(whole, {job_.author}, job_.trust)).file);
    results(small("small-full-driven", "small-full.calseal", "driven-flash.bin", "accepted",
                  "full payload of a revision: pinned bytes only"),
            driven_small(edited, 42));

    SmallImage patched = edited_small(job_.base, 23);
    put(patched.flash, 0x28, "\x33\x44");
    correct_small(patched);
    SealRequest second = job_.request(2, patched);
    second.statement.parent = small_.digest;
    file("small-revision-2.calseal", good(seal(second, {job_.author, job_.reviewer}, job_.trust)).file);
    Row& next = small("small-revision-2", "small-revision-2.calseal", "edited-flash.bin", "accepted",
                      "from revision 1 to 2, which applies a permitted patch");
    next.reads[1] = "eeprom=edited-eeprom.bin";
    results(next, patched);

    SealRequest set = job_.request(1, edited);
    SetDescriptor members;
    members.job = "job-7";
    members.members = {
        {"engine", 1, 2, job_.map.digest, small_.manifest.controller().pinned_after},
        {"transmission", 1, 5, compute_sha256(view_of("map")), compute_sha256(view_of("pinned"))}};
    members.write_order = {"transmission", "engine"};
    set.statement.set = members;
    small_set_ = good(seal(set, {job_.author}, job_.trust));
    file("small-set.calseal", small_set_.file);
    small("small-set", "small-set.calseal", "base-flash.bin", "set-incomplete",
          "one of a set of two controllers, alone");

    // A base read only in part; the read knows more, and keeps it.
    SealRequest partial = job_.request(1, edited);
    const Range unread{kFlash + 0x300, kFlash + 0x400};
    partial.base.memories[0].known.remove(unread);
    partial.result.memories[0].known.remove(unread);
    file("small-partial.calseal", good(seal(partial, {job_.author}, job_.trust)).file);
    results(small("small-partial", "small-partial.calseal", "base-flash.bin", "accepted",
                  "bytes that the base did not know are nobody's business"),
            edited);
  }

  void make_size_and_prefix() {
    const Bytes& whole = tiny_.file;
    const auto part = [&](std::size_t size) {
      return Bytes(whole.begin(), whole.begin() + static_cast<std::ptrdiff_t>(size));
    };
    const auto with = [&](std::size_t at, std::uint8_t value) {
      Bytes bent = whole;
      bent.at(at) = value;
      return bent;
    };
    tiny("size-97", part(97), "bundle-size", "one byte less than any bundle has");
    tiny("size-98", part(98), "prefix-damaged",
         "long enough to be judged by its bytes: the manifest is not all there");
    tiny("begins-otherwise", bytes_of(std::string(200, 'P')), "not-a-bundle", "no local header");
    tiny("first-header-deflated", with(8, 8), "not-a-bundle", "the manifest must be stored");
    tiny("first-header-dated", with(12, 0x22), "not-a-bundle", "another date");
    tiny("first-name-otherwise", with(30, 'M'), "not-a-bundle", "Manifest.json");
    tiny("manifest-crc", with(14, static_cast<std::uint8_t>(whole[14] ^ 1U)), "prefix-damaged",
         "CRC-32 of the manifest");
    tiny("manifest-one-bit", with(200, static_cast<std::uint8_t>(whole[200] ^ 1U)), "prefix-damaged",
         "a damaged copy: the CRC-32 tells it before the signature is looked at");
    tiny("manifest-sizes-differ", with(22, static_cast<std::uint8_t>(whole[22] ^ 1U)), "prefix-damaged",
         "stored size and size");
    Bytes beyond = whole;
    for (const std::size_t at : {18U, 22U}) small::put_little(beyond, at, 0x000fffff, 4);
    tiny("manifest-beyond-the-file", beyond, "prefix-damaged",
         "the stored size is allowed, the file is not so long");
    for (const std::size_t at : {18U, 22U}) small::put_little(beyond, at, 0x00100001, 4);
    tiny("manifest-too-large", beyond, "prefix-damaged", "one byte over the limit");

    BentBundle bent(tiny_);
    bent.sign({job_.author, job_.reviewer});
    std::ranges::sort(bent.signatures, std::ranges::greater{}, &PrefixSignature::key_id);
    tiny("signatures-descending", bent.file(), "prefix-damaged", "both are true; their order is not");
    bent.signatures = {bent.signatures[0], bent.signatures[0]};
    tiny("signature-twice", bent.file(), "prefix-damaged", "the same key twice");
    bent.signatures.clear();
    for (std::uint8_t seed = 10; seed < 19; ++seed)
      bent.signatures.push_back(*small_key(seed).sign(view_of(bent.manifest)));
    std::ranges::sort(bent.signatures, {}, &PrefixSignature::key_id);
    tiny("signatures-nine", bent.file(), "prefix-damaged", "one more than a bundle may have");
    bent.signatures.pop_back();
    tiny("signatures-eight", bent.file(), "signer-unknown",
         "as many as a bundle may have; nobody knows them");
    bent.signatures.clear();
    tiny("signature-missing", bent.file(), "signature-missing", "no signature");

    const std::size_t signature = 43 + BentBundle(tiny_).manifest.size();
    tiny("signature-crc",
         with(signature + 30 + 79, static_cast<std::uint8_t>(whole[signature + 30 + 79] ^ 1U)),
         "prefix-damaged", "one bit of the signature, its CRC-32 as it was");
    tiny("signature-flags", with(signature + 6, 1), "prefix-damaged", "a flag in the signature's header");
    // A header is one only by its first four bytes and the start of its name; without them the list ends.
    tiny("signature-header-otherwise", with(signature, 'Q'), "signature-missing",
         "no local header where the first signature stands");
    Bytes upper = whole;
    const auto digit = std::ranges::find_if(upper.begin() + static_cast<std::ptrdiff_t>(signature) + 41,
                                            upper.end(), [](std::uint8_t c) { return c >= 'a' && c <= 'f'; });
    *digit = static_cast<std::uint8_t>(*digit - 'a' + 'A');
    tiny("signature-name-upper-case", upper, "prefix-damaged", "an upper-case digit in the key id");
    tiny("signature-cut", part(signature + 100), "prefix-damaged",
         "the file ends inside the signature's name");
    tiny("cut-after-manifest", part(signature + 40), "signature-missing",
         "fewer than 41 bytes are left, so no signature stands there");
  }

  void make_signatures() {
    BentBundle bent(tiny_);
    tiny("signer-unknown", bent.sign({job_.stranger}).file(), "signer-unknown",
         "true, but by a key that is not listed");
    bent.sign({job_.author, job_.stranger});
    std::ranges::sort(bent.signatures, {}, &PrefixSignature::key_id);
    tiny("signer-unknown-beside-author", bent.file(), "signer-unknown",
         "one signature too many is one too many");
    bent = BentBundle(tiny_);
    bent.signatures[0].signature[10] ^= 1U;
    tiny("signature-bad", bent.file(), "signature-bad", "one bit of the signature, CRC-32 set right");
    bent = BentBundle(tiny_);
    bent.replace("\"tiny\"", "\"tinY\"");
    tiny("manifest-other", bent.file(), "signature-bad", "one letter of the manifest, CRC-32 set right");
    bent = BentBundle(tiny_);
    bent.signatures[0].signature = bent.sign({job_.reviewer}).signatures[0].signature;
    bent.signatures[0].key_id = job_.author.id();
    tiny("signature-of-another", bent.file(), "signature-bad",
         "the reviewer's signature under the author's id");
    // S plus the group order: the same point equation holds, and RFC 8032 says no.
    bent = BentBundle(tiny_);
    const Bytes order = *from_hex("edd3f55c1a631258d69cf7a2def9de1400000000000000000000000000000010");
    unsigned carry = 0;
    for (std::size_t i = 0; i < 32; ++i) {
      carry += static_cast<unsigned>(bent.signatures[0].signature[32 + i]) + order[i];
      bent.signatures[0].signature[32 + i] = static_cast<std::uint8_t>(carry);
      carry >>= 8U;
    }
    tiny("signature-s-not-reduced", bent.file(), "signature-bad", "the second half plus the group order");
    bent = BentBundle(tiny_);
    bent.manifest = "this is no manifest";
    tiny("signed-by-stranger-and-broken", bent.sign({job_.stranger}).file(), "signer-unknown",
         "no JSON is looked at before a signature holds");
  }

  // The tiny revision with its manifest bent and signed again.
  Row& bend(const std::string& name, std::string_view from, std::string_view to, const std::string& expect,
            const std::string& note) {
    return tiny(name, BentBundle(tiny_).replace(from, to).sign({job_.author}).file(), expect, note);
  }
  Row& say(const std::string& name, const std::string& manifest, const std::string& expect,
           const std::string& note) {
    BentBundle bent(tiny_);
    bent.manifest = manifest;
    return tiny(name, bent.sign({job_.author}).file(), expect, note);
  }

  void make_type_and_format() {
    bend("type-other", "revision/1", "withdrawal/1", "type-wrong", "another kind of signed file");
    say("type-of-a-trust-file", write_trust_text(job_.trust), "type-wrong",
        "the signed text of a trust file");
    say("type-not-json", "no JSON at all", "type-wrong", "the literal comes before any JSON");
    say("type-byte-order-mark", "\xef\xbb\xbf" + BentBundle(tiny_).manifest, "type-wrong",
        "a byte order mark in front");
    bend("format-2", "\"format\":1", "\"format\":2", "format-unknown", "a later format");
    say("format-2-unreadable", R"({"calseal":"revision/1","format":2,then anything)", "format-unknown",
        "nothing behind the number is read");
    bend("format-0", "\"format\":1", "\"format\":0", "format-unknown", "below the first");
    bend("format-17-digits", "\"format\":1", "\"format\":10000000000000000", "json-number",
         "too many digits for the early look, and for any number");
    bend("format-leading-zero", "\"format\":1", "\"format\":01", "json-syntax", "not a number of JSON");
    bend("format-text", "\"format\":1", "\"format\":\"1\"", "json-type", "not a number");
    bend("format-elsewhere", "\"format\":1,\"job\":\"job-7\"", "\"job\":\"job-7\",\"format\":2",
         "format-unknown", "too late for the early look; found among the fields");
  }

  void make_json() {
    const std::string text = BentBundle(tiny_).manifest;
    bend("json-syntax", "\"options\":[]", "\"options\":[,]", "json-syntax", "a comma too many");
    say("json-cut", text.substr(0, text.size() - 1), "json-syntax", "the last bracket is missing");
    say("json-behind-the-end", text + "x", "json-syntax", "a letter behind the last bracket");
    say("json-nul-behind-the-end", text + std::string(1, '\0') + "x", "json-syntax", "a NUL ends no text");
    bend("json-not-utf8", "\"title\":\"tiny\"", "\"title\":\"t\xff\"", "json-syntax",
         "a byte that is not UTF-8");
    bend("json-raw-control", "\"title\":\"tiny\"", "\"title\":\"t\x01\"", "json-syntax",
         "U+0001 not escaped");
    bend("json-lone-surrogate", "\"title\":\"tiny\"", "\"title\":\"\\ud800\"", "json-syntax",
         "half of a surrogate pair");
    const auto nested = [](std::size_t levels) {
      return "\"options\":" + std::string(levels, '[') + std::string(levels, ']');
    };
    bend("json-depth", "\"options\":[]", nested(32), "json-depth", "level 33");
    bend("json-depth-allowed", "\"options\":[]", nested(31), "json-type",
         "level 32: nested as deep as allowed, and no option");
    bend("json-utf8-first", "\"title\":\"tiny\",", "\"title\":\"tiny\",\"title\":\"\xff\",", "json-syntax",
         "bytes that are not UTF-8 count before a key that stands twice");
    bend("json-sign-first", "\"sequence\":2", "\"sequence\":-02", "json-number",
         "the sign counts before the leading zero");
    bend("json-unknown-key-last", "\"job\":\"job-7\"", "\"more\":1,\"job\":7", "json-type",
         "fields count before keys of nobody");
    bend("json-range-end", "\"start\":\"0x80000022\",\"size\":30,\"kind\":\"locked\"",
         "\"start\":\"0x80000022\",\"size\":4294967296,\"kind\":7", "json-value",
         "the end of a range is judged right behind its size");
    bend("json-three-roles", "[\"author\"]", "[\"author\",\"author\",7]", "json-value",
         "a list's length counts before its items");
    bend("json-entry-line", "\"entry\":\"payload/engine/flash.bin\"",
         "\"entry\":\"" + std::string(201, 'p') + "\"", "json-value", "names of entries are lines");
    bend("json-repeated-key", "\"job\":\"job-7\"", "\"job\":\"job-7\",\"job\":\"job-8\"", "json-repeated-key",
         "two jobs");
    bend("json-fraction", "\"sequence\":2", "\"sequence\":2.0", "json-number", "a fraction");
    bend("json-negative", "\"sequence\":2", "\"sequence\":-2", "json-number", "a sign");
    bend("json-huge", "\"sequence\":2", "\"sequence\":9007199254740992", "json-number", "2^53");
    bend("json-null", "\"set\":\"\"", "\"set\":null", "json-type", "null is nothing that exists here");
    bend("json-type", "\"trial\":false", "\"trial\":0", "json-type", "a number for a boolean");
    bend("json-unknown-key", "\"notes\":\"\"", "\"more\":1,\"notes\":\"\"", "json-unknown-key",
         "a field of nobody");
    bend("json-missing-key", "\"notes\":\"\",", "", "json-missing-key", "no notes");
    bend("json-name", "\"job\":\"job-7\"", "\"job\":\"Job-7\"", "json-value", "a capital in a name");
    bend("json-sequence-zero", "\"sequence\":2", "\"sequence\":0", "json-value", "from 1 on");
    bend("json-time", "2026-03-04T05:06:07Z", "2026-02-30T05:06:07Z", "json-value",
         "a day that does not exist");
    bend("json-line-break", "\"title\":\"tiny\"", "\"title\":\"t\\n\"", "json-value",
         "a line has no line end");
    bend("json-two-controllers", "\"controllers\":[", "\"controllers\":[1,", "json-value",
         "exactly one in format 1");
    bend("json-first-fault-wins", "\"sequence\":2,\"parent\":\"", "\"sequence\":0,\"parent\":false,\"x\":\"",
         "json-value", "several faults; the first field's counts");
    bend("json-string-for-number", "\"sequence\":2", "\"sequence\":\"2\"", "json-type", "digits in a string");
    bend("json-object-for-list", "\"options\":[]", "\"options\":{}", "json-type", "an object for a list");
    bend("json-choice", "\"method\":\"stored\"", "\"method\":\"zip\"", "json-value",
         "a method that does not exist");
    bend("json-choice-type", "\"method\":\"stored\"", "\"method\":0", "json-type", "the number of a method");
    bend("json-annotation", "\"annotations\":[]", "\"annotations\":[[\"a\",\"b\",\"c\"]]", "json-value",
         "an annotation is a pair");
    bend("json-annotation-type", "\"annotations\":[]", "\"annotations\":[\"a\"]", "json-type", "and a list");
    bend("json-escape-unknown", "\"title\":\"tiny\"", "\"title\":\"\\x\"", "json-syntax",
         "an escape that JSON does not have");
    bend("json-escape-digits", "\"title\":\"tiny\"", "\"title\":\"\\u00g0\"", "json-syntax",
         "four hexadecimal digits");
    bend("json-low-surrogate", "\"title\":\"tiny\"", "\"title\":\"\\udc00\"", "json-syntax",
         "the other half of a surrogate pair");
    bend("json-pair-broken", "\"title\":\"tiny\"", "\"title\":\"\\ud800\\u0041\"", "json-syntax",
         "a first half and a letter");
    bend("not-canonical-space", "\"format\":1,", "\"format\":1, ", "json-not-canonical", "white space");
    say("not-canonical-line-end", text + "\n", "json-not-canonical", "a line end behind the last bracket");
    bend("not-canonical-slash", "\"title\":\"tiny\"", "\"title\":\"t\\/\"", "json-not-canonical",
         "an escaped slash");
    bend("not-canonical-letter", "\"title\":\"tiny\"", "\"title\":\"\\u0074iny\"", "json-not-canonical",
         "an escaped letter");
    bend("not-canonical-escape", "\"notes\":\"\"", "\"notes\":\"\\u000a\"", "json-not-canonical",
         "U+000A has a short form");
    bend("not-canonical-case", "\"notes\":\"\"", "\"notes\":\"\\u001F\"", "json-not-canonical",
         "an upper-case digit");
    bend("not-canonical-order", "\"format\":1,\"job\":\"job-7\"", "\"job\":\"job-7\",\"format\":1",
         "json-not-canonical", "keys in another order");
  }

  void make_manifest_invalid() {
    const ManifestController& c = tiny_.manifest.controller();
    const std::string nothing(64, '0');
    bend("invalid-sequence", "\"sequence\":2", "\"sequence\":1", "manifest-invalid",
         "rule 1: at least the revision and one");
    bend("invalid-parent", "\"parent\":\"" + digest_text(*tiny_.manifest.parent) + "\"", "\"parent\":\"\"",
         "manifest-invalid", "rule 1: a revision has a parent");
    bend("invalid-trial", "\"trial\":false", "\"trial\":true", "manifest-invalid", "rule 1: a trial expires");
    bend("invalid-roles", "\"required_roles\":[\"author\"]", "\"required_roles\":[\"reviewer\"]",
         "manifest-invalid", "rule 1: an author is always required");
    bend("invalid-known", "\"known\":[{\"start\":\"0x80000000\",\"size\":64}]",
         "\"known\":[{\"start\":\"0x80000000\",\"size\":32},{\"start\":\"0x80000020\",\"size\":32}]",
         "manifest-invalid", "rule 2: two ranges that touch");
    bend("invalid-memory-twice", "\"memories\":[",
         "\"memories\":[{\"name\":\"flash\",\"origin\":\"0x00000000\",\"size\":1,\"known\":[]},",
         "manifest-invalid", "rule 2: one name twice");
    bend("invalid-span-gap", "{\"memory\":\"flash\",\"start\":\"0x80000022\",\"size\":30,",
         "{\"memory\":\"flash\",\"start\":\"0x80000023\",\"size\":29,", "manifest-invalid",
         "rule 3: spans leave a byte out");
    bend("invalid-locked-differs", "\"after\":\"" + digest_text(*c.spans[0].after) + "\"",
         "\"after\":\"" + nothing + "\"", "manifest-invalid",
         "rule 3: a locked span that changes, without patches");
    bend("invalid-pinned", digest_text(c.pinned_after), nothing, "manifest-invalid",
         "rule 4: not what the spans give");
    bend("invalid-write-range-order",
         "\"write_ranges\":[{\"memory\":\"flash\",\"start\":\"0x80000010\",\"size\":18}]",
         "\"write_ranges\":[{\"memory\":\"flash\",\"start\":\"0x80000020\",\"size\":2},{\"memory\":\"flash\","
         "\"start\":\"0x80000010\",\"size\":16}]",
         "manifest-invalid", "rule 7: descending");
    bend("invalid-payload-locked", "\"ranges\":[{\"start\":\"0x80000010\",\"size\":18}]",
         "\"ranges\":[{\"start\":\"0x80000010\",\"size\":16}]", "manifest-invalid",
         "rule 8: a derived span that does not travel");
    bend("invalid-returns", "\"permitted_returns\":[]",
         "\"permitted_returns\":[\"" + nothing + "\",\"" + nothing + "\"]", "manifest-invalid",
         "rule 10: the same one twice");
    const ManifestEntry& map_entry = tiny_.manifest.entries[0];
    bend("invalid-entry-size", "\"size\":" + std::to_string(map_entry.size) + ",\"crc32\"",
         "\"size\":" + std::to_string(map_entry.size + 1) + ",\"crc32\"", "manifest-invalid",
         "rule 11: stored, and of two sizes");
    bend("invalid-entry-name", "\"name\":\"changes.json\"", "\"name\":\"change.json\"", "manifest-invalid",
         "rule 12: an entry that the table does not have");
    bend("invalid-map-digest", "\"grade\":\"draft\",\"digest\":\"" + digest_text(c.map_digest),
         "\"grade\":\"draft\",\"digest\":\"" + nothing, "manifest-invalid",
         "rule 12: the entry holds another region map");
  }

  // One rule broken, and what is computed from the rest set right.
  void make_forged_manifests() {
    const auto forged = [&](const std::string& name, const SealedBundle& from, const std::string& note,
                            const std::function<void(Forgery&)>& bend) {
      Forgery forgery = take_apart(from);
      bend(forgery);
      tiny("invalid-" + name, put_together(forgery, {job_.author}), "manifest-invalid", note);
    };
    const Sha256 other = compute_sha256(view_of("another"));
    bend("invalid-expires", "\"expires\":\"\"", "\"expires\":\"2026-04-01T00:00:00Z\"", "manifest-invalid",
         "rule 1: it expires, and is no trial");
    bend("invalid-trial-over-at-once", "\"trial\":false,\"expires\":\"\"",
         "\"trial\":true,\"expires\":\"2026-03-04T05:06:07Z\"", "manifest-invalid",
         "rule 1: a trial that ends when it is sealed");
    forged("trial-of-the-base", tiny_base_, "rule 1: revision 0 is no trial", [](Forgery& f) {
      f.manifest.trial = true;
      f.manifest.expires = "2026-04-01T00:00:00Z";
    });
    forged("span-cut-off", tiny_, "rule 3: the last span is missing",
           [](Forgery& f) { f.controller().spans.pop_back(); });
    forged("span-begins-late", tiny_, "rule 3: a byte in no span",
           [](Forgery& f) { f.controller().spans[3].place.range.begin += 1; });
    forged("span-locked-changes", tiny_, "rule 3: a locked span changes",
           [&](Forgery& f) { f.controller().spans[0].after = other; });
    forged("span-partly-known", tiny_, "rule 3: a span of known and unknown bytes",
           [](Forgery& f) { f.controller().memories[0].known[0].end -= 1; });
    forged("span-volatile-digest", tiny_, "rule 3: a digest of a volatile span",
           [](Forgery& f) { f.controller().spans[3].kind = SpanKind::kVolatile; });
    forged("binding-span-alone", tiny_, "rule 5: a binding span without a field", [](Forgery& f) {
      f.controller().spans[3] = {f.controller().spans[3].place, SpanKind::kBinding, std::nullopt,
                                 std::nullopt};
    });
    forged("binding-without-salt", tiny_, "rule 5: a salted digest without a salt", [&](Forgery& f) {
      f.controller().spans[3] = {f.controller().spans[3].place, SpanKind::kBinding, std::nullopt,
                                 std::nullopt};
      f.controller().binding = {{"vin", f.controller().spans[3].place, other}};
    });
    forged("binding-overlaps", tiny_, "rule 5: two fields in the same bytes", [](Forgery& f) {
      const NamedRange place = f.controller().spans[3].place;
      f.controller().spans[3] = {place, SpanKind::kBinding, std::nullopt, std::nullopt};
      f.controller().binding = {{"vin", place, std::nullopt}, {"serial", place, std::nullopt}};
    });
    forged("identity-twice", tiny_, "rule 6: one name twice", [](Forgery& f) {
      f.controller().identity = {{"a", "1"}, {"a", "1"}};
    });
    forged("file-twice", tiny_, "rule 6: two files of one memory",
           [](Forgery& f) { f.controller().files.push_back(f.controller().files[0]); });
    forged("not-provable-value", tiny_, "rule 6: the value of what is not provable",
           [](Forgery& f) { f.controller().checksums[0].state = CheckState::kNotProvable; });
    forged("write-range-elsewhere", tiny_, "rule 7: a memory that does not exist",
           [](Forgery& f) { f.controller().write_ranges[0].memory = "eeprom"; });
    forged("write-range-outside", tiny_, "rule 7: beyond the memory",
           [](Forgery& f) { f.controller().write_ranges[0].range.end += 64; });
    forged("payload-ranges-touch", tiny_, "rule 8: two ranges without a byte between them", [](Forgery& f) {
      f.controller().payload[0].ranges = {{kFlash + 0x10, kFlash + 0x20}, {kFlash + 0x20, kFlash + 0x22}};
    });
    forged("payload-volatile", tiny_, "rule 8: a volatile span travels", [](Forgery& f) {
      f.controller().spans[3] = {f.controller().spans[3].place, SpanKind::kVolatile, std::nullopt,
                                 std::nullopt};
      f.controller().payload[0].ranges[0].end += 30;
      f.content("payload/engine/flash.bin").resize(48);
    });
    forged("payload-missing", tiny_, "rule 8: no part for a memory that changes", [](Forgery& f) {
      f.controller().payload.clear();
      f.contents.pop_back();
      f.manifest.entries.pop_back();
    });
    forged("full-payload-cut", tiny_full_, "rule 8: a full payload without the last byte", [](Forgery& f) {
      f.controller().payload[0].ranges[0].end -= 1;
      f.content("payload/engine/flash.bin").pop_back();
    });
    forged("base-of-areas", tiny_, "rule 9: revision 0 travels whole",
           [](Forgery& f) { f.manifest.revision = 0; });
    forged("base-that-changes", tiny_full_, "rule 9: revision 0 changes nothing",
           [](Forgery& f) { f.manifest.revision = 0; });
    const auto ordered = [&](const std::string& name, const std::string& rule, const ManifestOrdered& order) {
      forged("ordered-" + name, tiny_, rule, [&](Forgery& f) {
        f.manifest.options = {{"towing", "Towing", other}};
        f.manifest.ordered = order;
      });
    };
    const std::string noted = "2026-02-28T20:00:00Z";
    forged("ordered-in-base", tiny_base_, "rule 9: revision 0 says nothing of an order",
           [&](Forgery& f) { f.manifest.ordered.time = noted; });
    ordered("without-time", "rule 10: an order without a time",
            {"", std::nullopt, {{"towing", "Towing", ""}}});
    ordered("parcel-without-time", "rule 10: a parcel without a time", {"", other, {}});
    ordered("descending", "rule 10: names out of order",
            {noted, std::nullopt, {{"towing", "Towing", ""}, {"fan", "", "next week"}}});
    ordered("twice", "rule 10: one name twice",
            {noted, std::nullopt, {{"towing", "Towing", ""}, {"towing", "Towing", ""}}});
    ordered("no-why", "rule 10: not in the revision, and no reason",
            {noted, std::nullopt, {{"fan", "", ""}}});
    ordered("why-although-in", "rule 10: in the revision, and a reason why not",
            {noted, std::nullopt, {{"towing", "Towing", "next week"}}});
    ordered("other-title", "rule 10: another title than in options",
            {noted, std::nullopt, {{"towing", "Trailer", ""}}});
    forged("part-name", tiny_, "rule 12: a part under another name", [](Forgery& f) {
      f.controller().payload[0].entry = f.manifest.entries[2].name = "payload/engine/flush.bin";
    });
    forged("part-size", tiny_, "rule 12: an entry that is longer than its ranges",
           [](Forgery& f) { f.content("payload/engine/flash.bin").push_back(0); });
    for (const auto& [name, entry] : {std::pair("attachment-above", "attachments/..a"),
                                      std::pair("attachment-device", "attachments/con.txt"),
                                      std::pair("attachment-capital", "attachments/A.txt")}) {
      forged(name, tiny_, "rule 10: a name that is not allowed", [&](Forgery& f) {
        f.manifest.attachments = {{entry, "a"}};
        f.manifest.entries.push_back({entry, false, 0, {}, 0, 0, {}});
        f.contents.push_back(bytes_of("a"));
      });
    }
    const ManifestEntry& changes = tiny_.manifest.entries[1];
    const auto size = [&](std::uint64_t value) {
      return "\"size\":" + std::to_string(value) + ",\"crc32\":\"" + hex_number(changes.crc32, 8);
    };
    bend("invalid-deflated-longer", size(changes.size), size(changes.stored_size), "manifest-invalid",
         "rule 11: deflated, and no shorter");
    bend("invalid-deflated-ratio", size(changes.size), size(1032 * changes.stored_size + 1),
         "manifest-invalid", "rule 11: no deflate stream expands so far");
  }

  void make_framing() {
    const Bytes& whole = tiny_.file;
    const auto prefix = read_prefix(whole, "b");
    const auto framing = verify_framing(whole, *prefix, tiny_.manifest, "b");
    const std::size_t first = static_cast<std::size_t>(framing->header_offsets[framing->first_listed]);
    const std::size_t central = static_cast<std::size_t>(framing->directory_offset);
    const auto with = [&](std::size_t at, std::uint8_t value) {
      Bytes bent = whole;
      bent.at(at) = value;
      return bent;
    };
    const auto damaged = [&](const std::string& name, const Bytes& bundle, const std::string& note) {
      tiny(name, bundle, "framing-damaged", note);
    };
    damaged("framing-flag", with(first + 6, 8), "a flag in a local header: sizes would follow the content");
    damaged("framing-time", with(first + 10, 1), "a time in a local header");
    damaged("framing-name", with(first + 30, 'R'), "Regions/engine.json");
    damaged("framing-central-time", with(central + 12, 1), "a time in the central directory");
    damaged("framing-central-attributes", with(central + 40, 0x20), "external attributes");
    damaged("framing-central-offset", with(central + 42, 1), "a central header that leads elsewhere");
    damaged("framing-entry-count",
            with(whole.size() - 12, static_cast<std::uint8_t>(whole[whole.size() - 12] + 1)),
            "one entry more in the end record");
    damaged("framing-comment", with(whole.size() - 2, 1), "a comment announced that is not there");
    Bytes longer = whole;
    longer.push_back(0);
    damaged("framing-appended", longer, "one byte behind the end");
    damaged("framing-cut", Bytes(whole.begin(), whole.end() - 1), "one byte short");
    damaged("framing-cut-in-content",
            Bytes(whole.begin(), whole.begin() + static_cast<std::ptrdiff_t>(first) + 100),
            "cut inside the region map");
    BentBundle more(tiny_);
    const Bytes extra = bytes_of("#!/bin/sh\n");
    more.entries.push_back({"run.sh", false, extra.size(), extra.size(), compute_entry_crc32(extra)});
    more.stored.push_back(extra);
    damaged("framing-entry-added", more.file(),
            "a sound ZIP file with an entry that the manifest does not list");
    BentBundle less(tiny_);
    less.entries.pop_back();
    less.stored.pop_back();
    damaged("framing-entry-removed", less.file(), "a sound ZIP file without the last entry");
    BentBundle swapped(tiny_);
    std::swap(swapped.entries[0], swapped.entries[1]);
    std::swap(swapped.stored[0], swapped.stored[1]);
    damaged("framing-entries-swapped", swapped.file(), "a sound ZIP file in another order");
  }

  void make_contents() {
    const std::string payload = "payload/engine/flash.bin";
    BentBundle bent(tiny_);
    bent.stored[bent.index_of(payload)][0] ^= 1U;
    tiny("stored-digest", bent.file(), "stored-digest", "one byte of the payload");
    bent = BentBundle(tiny_);
    bent.stored[0][5] ^= 1U;
    tiny("stored-digest-before-trust", bent.file(), "stored-digest",
         "the key is compromised too, which is looked at later")
        .trust = "compromised.trust";

    bend("content-digest", "\"digest\":\"" + digest_text(tiny_.manifest.entries[1].digest) + "\"}",
         "\"digest\":\"" + std::string(64, '0') + "\"}",
         tiny_.manifest.entries[1].deflated ? "content-digest" : "manifest-invalid",
         "the content of a deflated changes.json is another");

    // The full payload is deflated; its stored bytes are exchanged and signed for.
    const Bytes content = tiny_image(9);
    const auto stream = [&](const std::string& name, const Bytes& stored, const std::string& note) {
      BentBundle full(tiny_full_);
      tiny(name, full.store(payload, stored).sign({job_.author}).file(), "content-digest", note);
    };
    const std::size_t at = BentBundle(tiny_full_).index_of(payload);
    if (!tiny_full_.manifest.entries[at].deflated)
      throw std::runtime_error("the full payload is not deflated");
    const Bytes honest = BentBundle(tiny_full_).stored[at];
    stream("deflate-broken", Bytes(honest.size(), 0xff), "not a deflate stream");
    stream("deflate-cut", Bytes(honest.begin(), honest.end() - 1), "the stream does not end");
    Bytes trailing = honest;
    trailing.push_back(0);
    stream("deflate-trailing", trailing, "a byte behind the end of the stream");
    Bytes longer = content;
    longer.push_back(0xff);
    stream("deflate-too-long", *deflate_content(longer), "one byte more than declared");
    stream("deflate-too-short", *deflate_content(Bytes(content.begin(), content.end() - 1)),
           "one byte less than declared");
    stream("deflate-bomb", *deflate_content(Bytes(40000, 0)), "forty thousand bytes where 64 are declared");
    Bytes other = content;
    other[63] ^= 1U;
    stream("deflate-other-content", *deflate_content(other), "as long as declared, and another content");
    BentBundle crc(tiny_full_);
    const std::string said = hex_number(tiny_full_.manifest.entries[at].crc32, 8);
    crc.replace("\"crc32\":\"" + said + "\"",
                "\"crc32\":\"" + hex_number(tiny_full_.manifest.entries[at].crc32 ^ 1U, 8) + "\"");
    crc.entries[at].crc32 ^= 1U;
    tiny("content-crc32", crc.sign({job_.author}).file(), "content-digest",
         "CRC-32 in manifest and headers alike, and wrong");

    // Contents that are what the manifest names, and say what cannot be.
    const auto changed = [&](const std::string& name, const std::string& text, const std::string& expect,
                             const std::string& note) {
      Forgery forgery = take_apart(tiny_);
      forgery.content(kChangesName) = bytes_of(text);
      tiny(name, put_together(forgery, {job_.author}), expect, note);
    };
    const std::string changes(text_of(take_apart(tiny_).content(kChangesName)));
    changed("changes-other-kind", replaced(changes, "changes/1", "set/1"), "type-wrong",
            "changes.json of another kind");
    changed("changes-not-canonical", changes + "\n", "json-not-canonical", "changes.json with a line end");
    changed("changes-overlap",
            replaced(changes, "\"changes\":[",
                     "\"changes\":[{\"memory\":\"flash\",\"start\":\"0x80000014\",\"size\":1,\"region\":"
                     "\"fuel\",\"option\":\"\"},"),
            "manifest-invalid", "changes.json names a byte twice");
    const std::string one = R"({"memory":"eeprom","start":"0x00000000","size":1,"region":"","option":""})";
    changed("changes-memories-mixed", replaced(changes, "},{", "}," + one + ",{"), "manifest-invalid",
            "changes.json comes back to a memory");
    const auto set = [&](const std::string& name, std::string_view from, std::string_view to,
                         const std::string& expect, const std::string& note) {
      Forgery forgery = take_apart(small_set_);
      forgery.content(kSetName) =
          bytes_of(replaced(std::string(text_of(forgery.content(kSetName))), from, to));
      forgery.manifest.set = compute_sha256(forgery.content(kSetName));
      tiny(name, put_together(forgery, {job_.author}), expect, note);
    };
    set("set-other-kind", "set/1", "sets/1", "type-wrong", "set.json of another kind");
    set("set-write-order", "\"write_order\":[\"transmission\",\"engine\"]",
        "\"write_order\":[\"engine\",\"engine\"]", "manifest-invalid",
        "set.json writes one controller twice");
  }

  void make_trust() {
    const auto row = [&](const std::string& trust, const std::string& expect, const std::string& note) {
      return &tiny_good(trust + ".trust", "trust-" + trust, expect, note);
    };
    row("compromised", "key-compromised", "whatever the claimed time");
    row("scope-job", "key-scope", "another job");
    row("scope-controller", "key-scope", "another controller");
    row("scope-map", "key-scope", "another region map");
    row("not-yet-valid", "key-validity", "valid one second later");
    row("no-longer-valid", "key-validity", "valid until this second, which is not in it");
    row("threshold-2", "roles-missing", "one signature where the policy wants two");
    row("author-is-ledger", "roles-missing", "the signer is no author");
    row("author-not-listed", "signer-unknown", "the trust file no longer lists the author");
    row("everything-spoilt", "key-compromised",
        "state, scope, validity and threshold are all wrong: the first counts");
    row("signed-by-another", "trust-invalid", "signed, but not by the root that it names");
    row("two-signatures", "trust-invalid", "a signature too many");
    row("signatures-descending", "trust-invalid", "and they do not ascend");
    row("unsigned", "trust-invalid", "no signature");
    row("signature-cut", "trust-invalid", "a digit too few in the signature");
    row("not-canonical", "trust-invalid", "white space");
    row("unknown-field", "trust-invalid", "a field of nobody");
    row("threshold-0", "trust-invalid", "a threshold that asks for nothing");
    row("one-bit", "trust-invalid", "one bit");
    row("no-line-end", "trust-invalid", "the last line has no end");
    row("other-kind", "type-wrong", "another kind of statement, signed by the root");
    row("weak-key", "key-weak", "a listed key of small order");
    row("weak-root", "key-weak", "a root of small order: anything could be signed by it");
    row("heads-descending", "trust-invalid", "pinned heads must ascend by size");
    row("keys-descending", "trust-invalid", "keys must ascend");
    row("id-of-another-key", "trust-invalid", "ids that are not those of the keys");
    row("no-roles", "trust-invalid", "a key without a role");
    row("never-valid", "trust-invalid", "valid until it begins to be valid");
    row("root-among-keys", "trust-invalid", "the root signs trust files only");
    Row& root = tiny_good("shop.trust", "root-of-another", "root-mismatch",
                          "the fingerprint of another key was told");
    root.stated_root = spoken_code(Spoken::kKey, job_.author.id());
    const std::string code = spoken_code(Spoken::kKey, job_.root.id());
    Row& misheard =
        tiny_good("shop.trust", "root-misheard", "root-mismatch", "one digit of the code was misheard");
    misheard.stated_root = code;
    misheard.stated_root[8] = code[8] == '0' ? '1' : '0';
    Row& letter = tiny_good("shop.trust", "root-without-letter", "root-mismatch",
                            "the groups alone are no code: the letter says what they are of");
    letter.stated_root = code.substr(2);
    Row& revision = tiny_good("shop.trust", "root-with-a-revisions-letter", "root-mismatch",
                              "the letter of a revision's code before the root's groups");
    revision.stated_root = "M" + code.substr(1);
    Row& mark =
        tiny_good("shop.trust", "root-with-an-unseen-mark", "root-mismatch", "U+200B is no separator");
    mark.stated_root = code + "\u200b";
    Row& first = tiny_good("one-bit.trust", "root-before-signature", "root-mismatch",
                           "the stated root counts before the root's signature");
    first.stated_root = spoken_code(Spoken::kKey, job_.author.id());
    tiny_row("trust-before-bundle", "size-97.calseal", "trust-invalid",
             "the trust file is judged before the bundle is touched")
        .trust = "signed-by-another.trust";
  }

  void make_matching() {
    const std::string revision = "small-revision.calseal";
    Row& missing = small("read-missing", revision, "base-flash.bin", "read-missing", "no read");
    missing.reads.clear();
    Row& revive = small("revive-of-a-revision", revision, "base-flash.bin", "read-missing",
                        "only revision 0 can be written without a read");
    revive.reads.clear();
    revive.revive = true;
    revive.vehicle_reference = "blue estate";
    Row& one = small("read-of-one-memory", revision, "base-flash.bin", "read-incomplete",
                     "nothing of the other memory");
    one.reads.pop_back();
    const auto read = [&](const std::string& name, const std::function<void(Bytes&)>& bend) {
      Bytes flash = job_.base.flash;
      bend(flash);
      return file(name + "-flash.bin", flash);
    };
    const auto hole = [&](const std::string& name, std::size_t from, std::size_t to) {
      const Bytes& f = job_.base.flash;
      const auto at = [&](std::size_t i) { return f.begin() + static_cast<std::ptrdiff_t>(i); };
      return file(name + "-flash.hex", bytes_of(write_intel_hex({{kFlash, Bytes(f.begin(), at(from))},
                                                                 {kFlash + to, Bytes(at(to), f.end())}})));
    };
    small("read-with-a-hole", revision, hole("hole", 0x20, 0x24), "read-incomplete",
          "four bytes of code are not in the read");
    small("read-without-learned", revision, hole("hole-learned", 0x180, 0x190), "read-incomplete",
          "an erase sector that is written lacks learned bytes");
    small("read-cut", revision,
          file("cut-flash.bin", Bytes(job_.base.flash.begin(), job_.base.flash.end() - 1)), "image-size",
          "one byte short");
    Bytes damaged = files_.at("base-flash.hex");
    damaged[30] = damaged[30] == '0' ? '1' : '0';
    small("read-damaged", revision, file("damaged-flash.hex", damaged), "record-checksum",
          "one digit of a record");
    small("read-foreign", revision, read("foreign", [](Bytes& f) { f[0x200] ^= 1U; }), "read-foreign",
          "one locked byte");
    small("read-foreign-base", "small-base.calseal", "foreign-flash.bin", "read-foreign",
          "revision 0 writes no other software over it either");
    small("read-half-patched", revision, read("half-patched", [](Bytes& f) { f[0x28] = 0x33; }),
          "change-patch", "half of a permitted patch");
    small("vehicle-other", revision, read("other-vehicle", [](Bytes& f) { f[0x1d0] = '9'; }),
          "vehicle-mismatch", "the VIN's last digit");
    small("vehicle-other-base", "small-base.calseal", "other-vehicle-flash.bin", "vehicle-mismatch",
          "revision 0 carries a VIN, and still asks for it");
    small("salt-other", revision, "base-flash.bin", "salt-wrong", "the salt of another job").salt =
        "other.salt";
    small("vehicle-not-provable", revision, "base-flash.bin", "vehicle-not-provable",
          "neither salt nor reference")
        .salt.clear();
    small("vehicle-reference-other", revision, "base-flash.bin", "vehicle-reference",
          "right salt, wrong word")
        .vehicle_reference = "red coupe";
    Row& tiny_word =
        tiny_good("shop.trust", "tiny-no-reference", "vehicle-not-provable", "no binding field, and no word");
    tiny_word.vehicle_reference.clear();
    small("read-not-fresh", revision, "driven-flash.bin", "read-not-fresh",
          "old learned values would be put back")
        .read_is_fresh = false;
    Row& salted = small("revive-wrong-word", "small-base.calseal", "base-flash.bin", "vehicle-reference",
                        "reviving, and another vehicle was meant");
    salted.reads.clear();
    salted.revive = true;
    salted.vehicle_reference = "red coupe";
    Row& silent = small("revive-without-word", "small-base.calseal", "base-flash.bin", "vehicle-not-provable",
                        "the salt alone is no vehicle");
    silent.reads.clear();
    silent.revive = true;
  }

  // Honestly signed, and not so.
  void make_claims() {
    const auto forged = [&](const std::string& name, const std::string& expect, const std::string& note,
                            const std::function<void(Forgery&)>& bend) {
      Forgery forgery = take_apart(tiny_);
      bend(forgery);
      tiny(name, put_together(forgery, {job_.author}), expect, note);
    };
    const std::string payload = "payload/engine/flash.bin";
    Bytes slot = {static_cast<std::uint8_t>(tiny_image(9)[0x20] ^ 1U), tiny_image(9)[0x21]};
    forged("result-mismatch", "result-mismatch", "the payload is another than the spans say",
           [&](Forgery& f) { f.content(payload)[0] ^= 1U; });
    forged("checksum-fails", "checksum-fails", "payload and spans agree on a wrong checksum",
           [&](Forgery& f) {
             f.content(payload)[0x10] ^= 1U;
             f.span("flash", kFlash + 0x20).after = compute_sha256(slot);
             Bytes image = tiny_image(9);
             image[0x20] = slot[0];
             f.controller().files[0].digest = compute_sha256(image);
           });
    forged("claim-files", "claim-mismatch", "the rebuilt file has another digest",
           [](Forgery& f) { f.controller().files[0].digest = compute_sha256(view_of("another")); });
    forged("claim-identity", "claim-mismatch", "an identity field that the region map does not have",
           [](Forgery& f) {
             f.controller().identity = {{"software", "1"}};
           });
    forged("claim-changes-region", "claim-mismatch", "a change said to be in another region", [](Forgery& f) {
      std::vector<Change> changes = *parse_changes(f.content(kChangesName), "c");
      changes[0].region = "spark";
      f.content(kChangesName) = bytes_of(write_changes(changes));
    });
    forged("claim-changes-option", "claim-mismatch", "a change by an option that the manifest does not name",
           [](Forgery& f) {
             std::vector<Change> changes = *parse_changes(f.content(kChangesName), "c");
             changes[0].option = "flat-foot";
             f.content(kChangesName) = bytes_of(write_changes(changes));
           });
    forged("claim-changes-locked", "claim-mismatch", "a change in locked bytes", [](Forgery& f) {
      std::vector<Change> changes = *parse_changes(f.content(kChangesName), "c");
      changes.insert(changes.begin(), {{"flash", {kFlash, kFlash + 4}}, "", ""});
      f.content(kChangesName) = bytes_of(write_changes(changes));
    });
    Forgery received = take_apart(tiny_base_);
    received.controller().files[0].digest = compute_sha256(view_of("another"));
    tiny("claim-received-file", put_together(received, {job_.author}), "claim-mismatch",
         "revision 0 names another raw file than its payload holds");
    forged("claim-span-kind", "claim-mismatch", "a derived span called editable",
           [](Forgery& f) { f.span("flash", kFlash + 0x20).kind = SpanKind::kEditable; });
    forged("claim-write-ranges", "claim-mismatch", "a byte too few is said to be written",
           [](Forgery& f) { f.controller().write_ranges[0].range.end -= 1; });
    forged("claim-map-version", "claim-mismatch", "another version than the region map's",
           [](Forgery& f) { f.controller().map_version += 1; });
    forged("claim-checksum", "claim-mismatch", "another checksum than the image holds",
           [](Forgery& f) { f.controller().checksums[0].value = "0000"; });
    forged("claim-changes", "claim-mismatch", "changes.json is empty",
           [](Forgery& f) { f.content(kChangesName) = bytes_of(write_changes({})); });
    Forgery locked = take_apart(tiny_full_);
    locked.content(payload)[0x30] ^= 1U;
    tiny("claim-full-payload", put_together(locked, {job_.author}), "claim-mismatch",
         "a full payload with other locked bytes");
  }

  SmallJob job_;
  PrivateKey second_ = small_key(5);
  RegionMap tiny_map_;
  SealedBundle tiny_, tiny_base_, tiny_full_, small_, small_set_;
  std::map<std::string, Bytes> files_;
  std::vector<Row> rows_;
};

TEST(BundleVectors, DISABLED_Make) {
  const char* folder = std::getenv("CALSEAL_MAKE_BUNDLE_VECTORS");
  ASSERT_NE(folder, nullptr) << "name the folder to write to";
  Making making;
  making.run();
  making.write(folder);
}

}  // namespace
}  // namespace calseal
