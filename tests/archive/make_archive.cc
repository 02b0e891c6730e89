// Makes an archive of any size: jobs of four revisions each, sealed in this process with keys that are opened once,
// their folders as `calseal job` leaves them, a ledger with heads, a list of withdrawals. Beside it lie trust files
// and, with --forged, bundles and statements as somebody with or without a listed key could make them.
//
// usage: make_archive FOLDER --jobs N [--engine MAP] [--stocks S] [--packing stored|smallest] [--threads T] [--forged]
//
// Without --engine the controllers are the tests' small ones; with it they are the demonstration's engine with 4 MiB
// of flash, and MAP is its region map. Then S stock images are kept once, by digest, and jobs share them.
#include <algorithm>
#include <atomic>
#include <cstdio>
#include <filesystem>
#include <fstream>
#include <iostream>
#include <thread>

#include "calseal/base/file.h"
#include "calseal/base/text.h"
#include "calseal/job/event.h"
#include "calseal/job/job.h"
#include "calseal/job/layout.h"
#include "calseal/ledger/append.h"
#include "calseal/ledger/head.h"
#include "calseal/ledger/revision_facts.h"
#include "calseal/map/correct.h"
#include "calseal/sign/withdraw.h"
#include "demo/engine.h"
#include "support/forgery.h"
#include "support/small_job.h"

namespace calseal {
namespace {

namespace fs = std::filesystem;

constexpr std::uint64_t kRevisions = 4;

template <typename T>
T must(Result<T> result, const std::string& what) {
  if (result) return *std::move(result);
  const Error& e = result.error();
  std::cerr << what << ": " << code(e.reason) << " " << e.file << " " << e.place << " " << e.found << ", expected "
            << e.expected << "\n";
  std::exit(1);
}
void must(Status status, const std::string& what) { must(status.map([] { return 0; }), what); }

struct Options {
  std::string folder, engine_map;
  std::uint64_t jobs = 4, stocks = 16;
  unsigned threads = 2;
  Packing packing = Packing::kSmallest;
  bool forged = false;
};

std::uint64_t mixed(std::uint64_t x) {
  x += 0x9e3779b97f4a7c15;
  x = (x ^ (x >> 30)) * 0xbf58476d1ce4e5b9;
  x = (x ^ (x >> 27)) * 0x94d049bb133111eb;
  return x ^ (x >> 31);
}

// Without sync: a generated tree is made again rather than mended.
void put_file(const fs::path& path, ByteView bytes) {
  fs::create_directories(path.parent_path());
  std::ofstream out(path, std::ios::binary);
  out.write(reinterpret_cast<const char*>(bytes.data()), static_cast<std::streamsize>(bytes.size()));
  if (!out.flush()) must(fail({Reason::kWriteFailed, path.string(), "", "", "", ""}), "write");
}
void put_file(const fs::path& path, std::string_view text) { put_file(path, view_of(text)); }

class Shop {
 public:
  PrivateKey root = small_key(1), author = small_key(2), stranger = small_key(4), ledger = small_key(5),
             withdrawer = small_key(6), retired = small_key(7);
  TrustFile trust;
  UtcTime begin = *parse_time("2026-03-01T00:00:00Z");

  Shop() {
    trust.version = 3;
    trust.shop = "Invented shop";
    trust.root = root.public_key();
    trust.claimed_time = "2026-02-20T00:00:00Z";
    trust.keys = {small_trusted(author, "Author", Role::kAuthor), small_trusted(ledger, "Ledger", Role::kLedger),
                  small_trusted(withdrawer, "Withdrawals", Role::kWithdrawal),
                  small_trusted(retired, "Retired", Role::kAuthor)};
    for (TrustedKey& key : trust.keys) {
      if (key.name == "Retired") key.valid_until = "2026-02-01T00:00:00Z";
    }
    std::ranges::sort(trust.keys, {}, &TrustedKey::id);
  }
  std::string trust_text(std::uint64_t version) const {
    TrustFile file = trust;
    file.version = version;
    return must(seal_trust_file(file, root), "trust file");
  }
};

// One controller before and after the tuner's work.
struct Controller {
  RegionMap map;
  std::string map_text;
  Image base;
  std::vector<std::pair<std::string, Bytes>> files;  // memory, bytes as received
};

class SmallControllers {
 public:
  Controller make(std::uint64_t job) const {
    SmallImage image = small_base();
    // The serial number and what was learned tell vehicles apart.
    for (std::size_t i = 0; i < 8; ++i)
      image.eeprom[0x20 + i] = static_cast<std::uint8_t>('0' + mixed(job) % 10 + (i == job % 8 ? 1 : 0));
    image.eeprom[0x28] = static_cast<std::uint8_t>(job);
    image.eeprom[0x29] = static_cast<std::uint8_t>(job >> 8);
    for (std::size_t i = 0; i < 0x30; ++i) image.flash[0x180 + i] = static_cast<std::uint8_t>(mixed(job * 64 + i));
    correct_small(image);
    Controller controller;
    controller.map_text = small_map_text();
    controller.map = must(parse_region_map(Bytes(controller.map_text.begin(), controller.map_text.end()), "map"), "map");
    controller.base = blank_image(controller.map);
    controller.base.memories[0].bytes = image.flash;
    controller.base.memories[1].bytes = image.eeprom;
    controller.files = {{"flash", image.flash}, {"eeprom", image.eeprom}};
    return controller;
  }
  static void edit(Image& image, std::uint64_t seed) {
    for (std::size_t i = 0; i < 6; ++i)
      image.memories[0].bytes[0x40 + mixed(seed + i) % 0x40] = static_cast<std::uint8_t>(mixed(seed * 7 + i));
    image.memories[0].bytes[0x100 + mixed(seed) % 0x40] ^= 0x11;
  }
};

class EngineControllers {
 public:
  EngineControllers(const std::string& map_path, std::uint64_t stocks) : stocks_(stocks) {
    const Bytes text = must(read_file(map_path, kRegionMapSizeLimit), "region map");
    map_text_ = std::string(text_of(text));
    map_ = must(parse_region_map(text, "engine"), "region map");
    for (std::uint64_t i = 0; i < stocks; ++i) {
      demo::EngineSoftware software = demo::kEngineSoftware;
      software.seed += i;
      flashes_.push_back(demo::make_engine_flash(software, demo::vehicle_a()).bytes());
    }
  }
  const std::vector<Bytes>& stocks() const { return flashes_; }
  Controller make(std::uint64_t job) const {
    demo::Vehicle vehicle = demo::vehicle_b();
    vehicle.seed = mixed(job);
    vehicle.serial = mixed(job + 1);
    vehicle.kilometres = static_cast<std::uint32_t>(job % 200000);
    Controller controller;
    controller.map = map_;
    controller.map_text = map_text_;
    controller.base = blank_image(controller.map);
    controller.base.memories[0].bytes = flashes_[job % stocks_];
    controller.base.memories[1].bytes = demo::make_engine_eeprom(vehicle).bytes();
    controller.files = {{"flash", {}}, {"eeprom", controller.base.memories[1].bytes}};
    return controller;
  }
  // Some cells of one table, as a tuner's day leaves them.
  static void edit(Image& image, std::uint64_t seed) {
    Bytes& flash = image.memories[0].bytes;
    const std::uint64_t table = demo::engine::kTables.start - demo::engine::kFlash.start +
                                (seed % demo::engine::kTablesCount) * demo::engine::kTablesStride + 0x400;
    for (std::size_t i = 0; i < 256; ++i) flash[table + i] = static_cast<std::uint8_t>(flash[table + i] + mixed(seed + i) % 8);
  }

 private:
  std::uint64_t stocks_;
  std::string map_text_;
  RegionMap map_;
  std::vector<Bytes> flashes_;
};

struct MadeJob {
  std::vector<Manifest> manifests;
  std::vector<Sha256> digests;
};

template <typename Controllers>
class Maker {
 public:
  Maker(const Options& options, const Controllers& controllers) : options_(options), controllers_(controllers) {}

  void run() {
    const fs::path root = options_.folder;
    fs::create_directories(root / "archive" / "jobs");
    put_file(root / "shop.trust", shop_.trust_text(3));
    put_file(root / "archive" / "shop.trust", shop_.trust_text(3));
    jobs_.resize(options_.jobs);
    std::vector<std::thread> workers;
    for (unsigned i = 0; i < options_.threads; ++i) {
      workers.emplace_back([&] {
        for (std::uint64_t job = next_++; job < options_.jobs; job = next_++) jobs_[job] = make_job(job);
      });
    }
    for (std::thread& worker : workers) worker.join();
    make_ledger();
    make_withdrawals();
    if (options_.forged) make_forged();
  }

 private:
  static std::string name_of(std::uint64_t job) {
    char text[32];
    std::snprintf(text, sizeof text, "job-%05llu", static_cast<unsigned long long>(job));
    return text;
  }
  UtcTime time_of(std::uint64_t job, std::uint64_t revision) const {
    return {shop_.begin.seconds + static_cast<std::int64_t>(job * kRevisions + revision) * 60};
  }
  static Bytes salt_of(std::uint64_t job) {
    Bytes salt;
    for (std::uint64_t i = 0; i < kSaltSize; ++i) salt.push_back(static_cast<std::uint8_t>(mixed(job * 32 + i)));
    return salt;
  }

  SealRequest request(const Controller& controller, std::uint64_t job, std::uint64_t revision) const {
    SealRequest request;
    request.map = &controller.map;
    request.statement.job = name_of(job);
    request.statement.revision = revision;
    request.statement.sequence = revision + 1;
    request.statement.vehicle_reference = "invented " + std::to_string(job);
    request.statement.title = revision == 0 ? "the way back" : "tune " + std::to_string(revision);
    request.statement.tool = "make_archive";
    request.statement.claimed_time = time_of(job, revision);
    request.base = controller.base;
    request.salt = salt_of(job);
    request.packing = options_.packing;
    request.limits_reason = "generated";
    return request;
  }

  Image edited(const Controller& controller, const Image& from, std::uint64_t seed) const {
    const Plan plan = must(make_plan(controller.map, from), "plan");
    Image image = from;
    Controllers::edit(image, seed);
    must(correct(plan, image), "correct");
    return image;
  }

  Controller controller_of(std::uint64_t job) const {
    Controller controller = controllers_.make(job);
    for (Memory& memory : controller.base.memories) memory.known = RangeSet(memory.extent);
    for (auto& [memory, bytes] : controller.files) {
      if (bytes.empty()) bytes = controller.base.find(memory)->bytes;
    }
    return controller;
  }

  MadeJob make_job(std::uint64_t job) {
    const Controller controller = controller_of(job);
    const fs::path folder = fs::path(options_.folder) / "archive" / "jobs" / name_of(job);
    MadeJob made;
    Image image = controller.base;
    Event opened;
    opened.time = time_text(time_of(job, 0));
    opened.kind = EventKind::kOpened;
    opened.detail = "first read";
    std::string events = write_event(opened);
    for (std::uint64_t revision = 0; revision < kRevisions; ++revision) {
      SealRequest one = request(controller, job, revision);
      if (revision == 0) {
        for (const auto& [memory, bytes] : controller.files)
          one.files.push_back({memory, "raw", bytes.size(), compute_sha256(bytes)});
      } else {
        one.statement.parent = made.digests.back();
        image = edited(controller, image, job * 16 + revision);
      }
      one.result = image;
      const SealedBundle sealed = must(seal(one, {shop_.author}, shop_.trust), "seal " + name_of(job));
      const std::string file = bundle_file(1, revision);
      put_file(folder / file, sealed.file);
      Event event;
      event.time = time_text(time_of(job, revision));
      event.kind = EventKind::kSealed;
      event.revision = revision;
      event.identity = sealed.digest;
      event.file = file;
      event.digest = compute_sha256(sealed.file);
      event.sequence = revision + 1;
      events += write_event(event);
      made.manifests.push_back(sealed.manifest);
      made.digests.push_back(sealed.digest);
      if (revision != 0 && controller.base.memories[0].bytes.size() < 65536)
        put_file(folder / "base-1" / "edited" / ("r" + std::to_string(revision) + "-flash.bin"), image.memories[0].bytes);
    }
    put_file(folder / "events.jsonl", events);
    put_file(folder / "job.json", write_job_facts({name_of(job), "engine", "invented " + std::to_string(job),
                                                    time_text(time_of(job, 0))}));
    put_file(folder / "job.salt", to_hex(salt_of(job)) + "\n");
    put_file(folder / "base-1" / "regions.json", controller.map_text);
    for (const auto& [memory, bytes] : controller.files) put_read(folder, memory, bytes);
    return made;
  }

  // What many jobs have is kept once.
  void put_read(const fs::path& folder, const std::string& memory, const Bytes& bytes) {
    if (bytes.size() < (std::size_t{1} << 20)) {
      put_file(folder / "base-1" / "read" / (memory + ".bin"), bytes);
      return;
    }
    const fs::path stock =
        fs::path(options_.folder) / "archive" / "stock" / (digest_text(compute_sha256(bytes)) + ".bin");
    if (!fs::exists(stock)) put_file(stock, bytes);
  }

  void make_ledger() {
    const std::string folder = (fs::path(options_.folder) / "archive" / "ledger").string();
    must(create_ledger(folder), "ledger");
    std::vector<NewEntry> entries;
    for (std::uint64_t job = 0; job < options_.jobs; ++job) {
      for (std::uint64_t revision = 0; revision < kRevisions; ++revision)
        entries.push_back(sealed_entry(jobs_[job].manifests[revision], jobs_[job].digests[revision]));
      const bool half = job + 1 == (options_.jobs + 1) / 2;
      if (!half && job + 1 != options_.jobs && entries.size() < 4096) continue;
      must(append_entries(folder, entries), "append");
      entries.clear();
      if (half || job + 1 == options_.jobs)
        must(sign_head(folder, {shop_.ledger}, shop_.trust, time_of(job, kRevisions)), "head");
    }
    // The newest head travels beside the bundles that are sent; one stays with the first job.
    const auto head = must(newest_head(folder), "head");
    put_file(fs::path(options_.folder) / "archive" / "jobs" / name_of(0) / "sent.head", head->bytes);
  }

  void make_withdrawals() {
    std::optional<WithdrawalList> list;
    for (std::uint64_t number = 1; number <= 2; ++number) {
      WithdrawalNotice notice;
      notice.revision = jobs_[0].digests[number];
      notice.job = name_of(0);
      notice.controller = "engine";
      notice.text = "replaced";
      notice.kind = WithdrawalClass::kReplaced;
      list = must(next_withdrawals(list, {notice}, compute_key_id(shop_.trust.root),
                                   "2026-03-0" + std::to_string(1 + number) + "T00:00:00Z", "2026-12-01T00:00:00Z"),
                  "withdrawals");
      const std::string text = must(seal_withdrawals(*list, {shop_.withdrawer}, shop_.trust), "withdrawals");
      put_file(fs::path(options_.folder) / (number == 1 ? "forged/older.withdrawals" : "archive/shop.withdrawals"), text);
    }
    put_file(fs::path(options_.folder) / "forged" / "older.trust", shop_.trust_text(2));
  }

  // What could stand in the place of a job's revision 2; each under forged/<job>/.
  void make_forged() {
    for (std::uint64_t job = 0; job < options_.jobs; ++job) {
      const Controller controller = controller_of(job);
      const fs::path folder = fs::path(options_.folder) / "forged" / name_of(job);
      const Image one = edited(controller, controller.base, job * 16 + 1);
      const Image two = edited(controller, one, job * 16 + 2);
      SealRequest again = request(controller, job, 2);
      again.statement.parent = jobs_[job].digests[1];
      again.result = two;
      const SealedBundle honest = must(seal(again, {shop_.author}, shop_.trust), "seal again");
      put_file(folder / "retired.calseal", put_together(take_apart(honest), {shop_.retired}));
      put_file(folder / "stranger.calseal", put_together(take_apart(honest), {shop_.stranger}));
      Forgery orphan = take_apart(honest);
      orphan.manifest.parent = compute_sha256(view_of("nobody's"));
      put_file(folder / "no-parent.calseal", put_together(orphan, {shop_.author}));
      Forgery adopted = take_apart(honest);
      adopted.manifest.parent = jobs_[(job + 1) % options_.jobs].digests[0];
      put_file(folder / "wrong-parent.calseal", put_together(adopted, {shop_.author}));
      Forgery boast = take_apart(honest);
      std::string& value = boast.controller().checksums.front().value;
      value = value == "00000000" ? "00000001" : "00000000";
      put_file(folder / "wrong-checksum.calseal", put_together(boast, {shop_.author}));
      Forgery lie = take_apart(honest);
      for (std::size_t i = 0; i < lie.contents.size(); ++i) {
        if (lie.manifest.entries[i].name == kChangesName) {
          const std::string none = write_changes({});
          lie.contents[i] = Bytes(none.begin(), none.end());
        }
      }
      put_file(folder / "wrong-changes.calseal", put_together(lie, {shop_.author}));
      SealRequest fork = again;
      fork.statement.title = "another tune 2";
      fork.result = edited(controller, one, job * 16 + 9);
      put_file(folder / "fork.calseal", must(seal(fork, {shop_.author}, shop_.trust), "fork").file);
      SealRequest extra = request(controller, job, kRevisions);
      extra.statement.parent = jobs_[job].digests.back();
      extra.result = two;
      put_file(folder / "extra.calseal", must(seal(extra, {shop_.author}, shop_.trust), "extra").file);
    }
  }

  const Options& options_;
  const Controllers& controllers_;
  Shop shop_;
  std::vector<MadeJob> jobs_;
  std::atomic<std::uint64_t> next_{0};
};

int usage() {
  std::cerr << "usage: make_archive FOLDER --jobs N [--engine MAP] [--stocks S] [--packing stored|smallest] [--threads T] "
               "[--forged]\n";
  return 2;
}

int run(int argc, char** argv) {
  Options options;
  for (int i = 1; i < argc; ++i) {
    const std::string word = argv[i];
    const auto value = [&]() -> std::string { return i + 1 < argc ? argv[++i] : ""; };
    if (word == "--jobs") {
      options.jobs = std::stoull(value());
    } else if (word == "--engine") {
      options.engine_map = value();
    } else if (word == "--stocks") {
      options.stocks = std::stoull(value());
    } else if (word == "--threads") {
      options.threads = static_cast<unsigned>(std::stoul(value()));
    } else if (word == "--packing") {
      options.packing = value() == "stored" ? Packing::kStored : Packing::kSmallest;
    } else if (word == "--forged") {
      options.forged = true;
    } else if (options.folder.empty() && !word.starts_with("--")) {
      options.folder = word;
    } else {
      return usage();
    }
  }
  if (options.folder.empty() || options.jobs == 0 || options.stocks == 0) return usage();
  if (options.engine_map.empty()) {
    Maker(options, SmallControllers()).run();
  } else {
    Maker(options, EngineControllers(options.engine_map, options.stocks)).run();
  }
  return 0;
}

}  // namespace
}  // namespace calseal

int main(int argc, char** argv) { return calseal::run(argc, argv); }
