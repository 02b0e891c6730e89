#include "calseal/job/attach_log.h"

#include <algorithm>
#include <filesystem>

#include "calseal/base/text.h"
#include "calseal/bundle/signed_json.h"
#include "calseal/job/layout.h"

namespace calseal {
namespace {

constexpr std::size_t kPiece = std::size_t{1} << 20;  // bytes read at a time

tl::unexpected<Error> log_usage(std::string place, std::string found, std::string expected,
                                std::string next) {
  return fail({Reason::kUsage, "", std::move(place), std::move(found), std::move(expected), std::move(next)});
}

std::string log_file_name(const std::string& path, const Sha256& digest) {
  std::string stem = std::filesystem::path(path).stem().string();
  for (char& c : stem) {
    const bool plain =
        (c >= 'a' && c <= 'z') || (c >= 'A' && c <= 'Z') || (c >= '0' && c <= '9') || c == '-' || c == '_';
    if (!plain) c = '_';
  }
  return std::string(kLogFolder) + "/" + digest_text(digest).substr(0, 12) + "-" + stem.substr(0, 64) +
         ".csv";
}

// The revision that a log counts as, and by what.
Result<NamedRevision> whose(const Job& job, const AttachRequest& request,
                            const std::vector<NamedRevision>& named) {
  const JobRevision* stated = nullptr;
  if (request.revision) {
    const std::uint64_t number = request.base.value_or(job.base().number);
    if (number == 0 || number > job.bases.size())
      return log_usage("--base", std::to_string(number), "a base of this job", "see calseal job status");
    stated = job.bases[number - 1].find(*request.revision);
    if (stated == nullptr)
      return log_usage("--revision", std::to_string(*request.revision),
                       "a revision of " + base_folder(number), "see calseal job status");
  } else if (!request.word.empty()) {
    return log_usage("--word", "a word about no revision", "--revision beside it", "state the revision");
  }
  const auto words = [](const JobRevision& r) {
    return "revision " + std::to_string(r.number()) + " of base " + std::to_string(r.manifest.base_number);
  };
  if (named.size() > 1) {
    return fail({Reason::kLogRevision, request.name, "",
                 "marks of " + words(*named[0].revision) + " and of " + words(*named[1].revision),
                 "those of one revision", "cut the file where the other recording begins"});
  }
  if (!named.empty()) {
    const JobRevision& found = *named.front().revision;
    if (stated != nullptr &&
        (stated->number() != found.number() || stated->manifest.base_number != found.manifest.base_number)) {
      return fail({Reason::kLogRevision, request.name, "", "the " + named.front().by + " of " + words(found),
                   "that of " + words(*stated), "attach it to the revision that it names"});
    }
    return named.front();
  }
  if (stated != nullptr && request.word.empty()) {
    return log_usage(
        "--word",
        "nothing in the log names revision " + std::to_string(stated->number()) + ", and no word was given",
        "how you know that it was driven with it", "say it: --word TEXT; it is noted as your word");
  }
  return NamedRevision{stated, stated == nullptr ? "nothing" : "word"};
}

// The log piece by piece, and the digest of what went by.
class HashedPieces {
 public:
  static Result<HashedPieces> open(const AttachRequest& request) {
    if (request.content) return open_content(request);
    CALSEAL_ASSIGN(PartialFile file, PartialFile::open(request.path, kLogSizeLimit));
    return HashedPieces(std::move(file), request);
  }

  Result<ByteView> next() {
    CALSEAL_ASSIGN(const ByteView piece, next_piece());
    hasher_.update(piece);
    done_ += piece.size();
    if (request_->read) request_->read(done_);
    return piece;
  }

  // Of the whole log; what nobody has asked for yet is read now.
  Result<Sha256> digest() {
    for (;;) {
      CALSEAL_ASSIGN(const ByteView piece, next());
      if (piece.empty()) return hasher_.finish();
    }
  }

 private:
  HashedPieces(std::optional<PartialFile> file, const AttachRequest& request)
      : file_(std::move(file)), request_(&request) {}

  // With the errors that a file of this content would give.
  static Result<HashedPieces> open_content(const AttachRequest& request) {
    const std::size_t size = request.content->size();
    if (size > 0 && size <= kLogSizeLimit) return HashedPieces(std::nullopt, request);
    return fail({size == 0 ? Reason::kFileEmpty : Reason::kFileTooLarge, request.name, "",
                 grouped(size) + " bytes", "from 1 to " + grouped(kLogSizeLimit) + " bytes",
                 "ask the customer for the log again"});
  }

  Result<ByteView> next_piece() {
    if (!file_) return request_->content->subspan(done_, std::min(kPiece, request_->content->size() - done_));
    CALSEAL_CHECK(file_->read_next(kPiece, piece_));
    return ByteView(piece_);
  }

  std::optional<PartialFile> file_;
  const AttachRequest* request_;
  Bytes piece_;
  Sha256Hasher hasher_;
  std::size_t done_ = 0;
};

// What was measured, or why it could not be.
Result<MeasuredLog> measured(HashedPieces& file, const AttachRequest& request) {
  auto log = measure_log([&] { return file.next(); }, request.reading, request.name);
  if (log || log.error().reason != Reason::kLogMalformed || request.reading.states_something()) return log;
  MeasuredLog unread;
  const Error& error = log.error();
  unread.facts.unread = printable(error.place + ": " + error.found + "; expected " + error.expected, 160);
  return unread;
}

// Copies the file, which must be the one that was measured, and notes it.
Status keep(const Job& job, const AttachRequest& request, const Event& event) {
  CALSEAL_ASSIGN(HashedPieces file, HashedPieces::open(request));
  const auto pieces = [&]() -> Result<ByteView> {
    CALSEAL_ASSIGN(const ByteView piece, file.next());
    if (!piece.empty()) return piece;
    CALSEAL_ASSIGN(const Sha256 digest, file.digest());
    if (digest == *event.digest) return piece;
    return fail({Reason::kFileUnreadable, request.name, "", "a file that changes while it is read",
                 "the same bytes twice", "attach it when it is complete"});
  };
  CALSEAL_ASSIGN(const std::string events, with_events(job.folder, {event}));
  return write_files({{job.folder + "/" + event.file, {}, FileMode::kPublic, Existing::kReplace, pieces},
                      {job.folder + "/" + std::string(kEventsFile), view_of(events)}});
}

}  // namespace

Result<AttachedLog> attach_log(const Job& job, const AttachRequest& request, UtcTime now) {
  if (!is_line(request.word))
    return log_usage("--word", printable(request.word, 80), "one line of at most 200 bytes", "shorten it");
  CALSEAL_ASSIGN(HashedPieces file, HashedPieces::open(request));
  CALSEAL_ASSIGN(MeasuredLog log, measured(file, request));
  CALSEAL_ASSIGN(const NamedRevision owner, whose(job, request, revisions_named_in(job, log.constants)));
  AttachedLog attached;
  Event& event = attached.event;
  event.time = time_text(now);
  event.kind = EventKind::kDriven;
  event.base = job.base().number;
  if (owner.revision != nullptr) {
    event.base = owner.revision->manifest.base_number;
    event.revision = owner.revision->number();
    event.identity = owner.revision->digest;
  }
  event.detail = request.word;
  CALSEAL_ASSIGN(event.digest, file.digest());
  event.file = log_file_name(request.path, *event.digest);
  event.log = std::move(log.facts);
  event.log->by = owner.by;
  // Measured after all is another event.
  const auto same = [&](const Event& other) {
    return other.kind == EventKind::kDriven && other.digest == event.digest &&
           other.identity == event.identity && other.log &&
           other.log->unread.empty() == event.log->unread.empty();
  };
  if (const auto known = std::find_if(job.events.begin(), job.events.end(), same);
      known != job.events.end() && exists(job.folder + "/" + known->file)) {
    return AttachedLog{*known, true};
  }
  CALSEAL_CHECK(keep(job, request, event));
  return attached;
}

}  // namespace calseal
