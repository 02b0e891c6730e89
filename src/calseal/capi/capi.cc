#include <algorithm>
#include <cstring>
#include <new>
#include <string>
#include <utility>
#include <vector>

#include "calseal/base/json_write.h"
#include "calseal/base/text.h"
#include "calseal/capi/calseal.h"
#include "calseal/check/check.h"
#include "calseal/check/confirm.h"
#include "calseal/report/bundle/bundle_report.h"
#include "calseal/report/confirmation/confirmation_report.h"
#include "calseal/report/verdict/verdict_report.h"

struct calseal_request {
  calseal::CheckRequest check;
  bool has_bundle = false;
  bool has_trust = false;
  std::vector<calseal::ReadFile> before;
  std::vector<calseal::ScanValue> scan;
  std::optional<calseal::NamedBytes> salt;  // the file's text
};

struct calseal_result {
  int outcome = CALSEAL_REFUSED;
  std::optional<calseal::Error> reason;
  std::string report, json, grade;
  std::vector<calseal::RebuiltFile> files;
  std::string state_after_look, state_after_write;
};

namespace calseal {
namespace {

constexpr std::size_t kWordLimit = 1024;         // bytes
constexpr std::size_t kNameLimit = 4096;         // bytes of a file's name
constexpr std::size_t kSaltFileLimit = 4096;     // bytes
constexpr std::size_t kReadFileCountLimit = 64;  // files of one read

// No exception crosses the boundary.
template <typename Work>
int guarded(Work work) {
  try {
    return work();
  } catch (const std::bad_alloc&) {
    return CALSEAL_E_MEMORY;
  } catch (...) {
    return CALSEAL_E_INTERNAL;
  }
}

// Length of a text, or nothing when it is longer than `limit`. `text` may not be NULL.
std::optional<std::size_t> length_within(const char* text, std::size_t limit) {
  const void* end = std::memchr(text, '\0', limit + 1);
  if (end == nullptr) return std::nullopt;
  return static_cast<std::size_t>(static_cast<const char*>(end) - text);
}

// A name for messages; nothing when it is too long.
std::optional<std::string> name_of(const char* name, const char* otherwise) {
  if (name == nullptr) return std::string(otherwise);
  const auto length = length_within(name, kNameLimit);
  if (!length) return std::nullopt;
  return printable(std::string_view(name, *length));
}

bool is_memory_name(std::string_view text) {
  return text.size() <= 64 && std::ranges::all_of(text, [](char c) {
           return (c >= 'a' && c <= 'z') || (c >= '0' && c <= '9') || c == '_' || c == '-';
         });
}

struct FileKind {
  std::uint64_t limit = 0;  // bytes; 0: unknown kind
  const char* name = "";
};

FileKind file_kind(int what) {
  switch (what) {
    case CALSEAL_FILE_BUNDLE:
      return {kBundleSizeLimit, "bundle"};
    case CALSEAL_FILE_TRUST:
      return {kTrustFileSizeLimit, "trust file"};
    case CALSEAL_FILE_SALT:
      return {kSaltFileLimit, "salt"};
    case CALSEAL_FILE_STATE:
      return {kStateSizeLimit, "state"};
    case CALSEAL_FILE_WITHDRAWALS:
      return {kWithdrawalSizeLimit, "withdrawals"};
    case CALSEAL_FILE_JOB_LIST:
      return {kJobListSizeLimit, "job list"};
    case CALSEAL_FILE_INCLUSION:
      return {kInclusionSizeLimit, "inclusion"};
    case CALSEAL_FILE_NEWEST:
      return {kBundleSizeLimit, "newest bundle"};
    case CALSEAL_FILE_SUCCESSION:
      return {kSuccessionSizeLimit, "succession"};
    case CALSEAL_FILE_PARTNER:
      return {kBundleSizeLimit, "partner"};
    default:
      return {};
  }
}

int store_file(calseal_request& request, int what, NamedBytes file) {
  const auto add = [&](std::vector<NamedBytes>& list, std::size_t limit) {
    if (list.size() == limit) return static_cast<int>(CALSEAL_E_TOO_LARGE);
    list.push_back(std::move(file));
    return static_cast<int>(CALSEAL_OK);
  };
  switch (what) {
    case CALSEAL_FILE_BUNDLE:
      request.check.bundle_name = std::move(file.name);
      request.check.bundle = std::move(file.bytes);
      request.has_bundle = true;
      return CALSEAL_OK;
    case CALSEAL_FILE_TRUST:
      request.check.trust_name = std::move(file.name);
      request.check.trust = std::move(file.bytes);
      request.has_trust = true;
      return CALSEAL_OK;
    case CALSEAL_FILE_SALT:
      request.salt = std::move(file);
      return CALSEAL_OK;
    case CALSEAL_FILE_STATE:
      request.check.state = std::move(file);
      return CALSEAL_OK;
    case CALSEAL_FILE_WITHDRAWALS:
      request.check.withdrawals = std::move(file);
      return CALSEAL_OK;
    case CALSEAL_FILE_JOB_LIST:
      request.check.job_list = std::move(file);
      return CALSEAL_OK;
    case CALSEAL_FILE_INCLUSION:
      request.check.inclusion = std::move(file);
      return CALSEAL_OK;
    case CALSEAL_FILE_NEWEST:
      request.check.newest = std::move(file);
      return CALSEAL_OK;
    case CALSEAL_FILE_SUCCESSION:
      return add(request.check.successions, kSuccessionStepLimit);
    case CALSEAL_FILE_PARTNER:
      return add(request.check.partners, kSetMemberLimit);
    default:
      return CALSEAL_E_ARGUMENT;
  }
}

// Copies out under the rules of the header; `terminated` bytes are followed by a NUL.
int copy_out(const void* bytes, std::size_t count, bool terminated, void* buffer, std::size_t capacity,
             std::size_t* size) {
  if (size == nullptr || (buffer == nullptr && capacity != 0)) return CALSEAL_E_ARGUMENT;
  const std::size_t needed = count + (terminated ? 1 : 0);
  *size = needed;
  if (buffer == nullptr) return CALSEAL_OK;
  if (capacity < needed) return CALSEAL_E_TOO_SMALL;
  if (count != 0) std::memcpy(buffer, bytes, count);
  if (terminated) static_cast<char*>(buffer)[count] = '\0';
  return CALSEAL_OK;
}

int copy_text(const std::string& text, char* buffer, std::size_t capacity, std::size_t* size) {
  return copy_out(text.data(), text.size(), true, buffer, capacity, size);
}

std::string plain(Emphasis, std::string_view text) { return std::string(text); }

// An error before there is a verdict, as the programs print it with --json.
JsonValue error_json(const Error& error) {
  JsonValue value = json_object({{"calseal", json("error/1")}});
  for (JsonMember& member : json_error(error).members) value.members.push_back(std::move(member));
  return value;
}

calseal_result failed(Error error) {
  calseal_result result;
  result.json = shown_json(error_json(error));
  result.report = std::string(code(error.reason)) + ": " + std::string(info(error.reason).meaning) + "\n";
  for (const auto& [label, text] : {std::pair{"file", &error.file},
                                    {"place", &error.place},
                                    {"found", &error.found},
                                    {"expected", &error.expected},
                                    {"next", &error.next}}) {
    if (!text->empty()) result.report += "  " + std::string(label) + "  " + *text + "\n";
  }
  result.reason = std::move(error);
  return result;
}

Status take_salt(const calseal_request& request, std::optional<Bytes>& salt) {
  if (!request.salt) return {};
  CALSEAL_ASSIGN(salt, parse_salt(request.salt->bytes, request.salt->name));
  return {};
}

calseal_result answer_check(const calseal_request& request) {
  CheckRequest question = request.check;
  if (Status status = take_salt(request, question.evidence.salt); !status) return failed(status.error());
  question.now = current_time();
  Verdict verdict = check_bundle(std::move(question));
  calseal_result result;
  result.outcome = verdict.outcome == Outcome::kAccepted    ? CALSEAL_ACCEPTED
                   : verdict.outcome == Outcome::kAuthentic ? CALSEAL_AUTHENTIC
                                                            : CALSEAL_REFUSED;
  result.report = verdict_text(verdict, plain);
  result.json = shown_json(verdict_json(verdict));
  result.reason = std::move(verdict.reason);
  result.files = std::move(verdict.files);
  result.state_after_look = std::move(verdict.state_after_look);
  result.state_after_write = std::move(verdict.state_after_write);
  return result;
}

calseal_result answer_confirm(const calseal_request& request) {
  ConfirmRequest question;
  question.bundle_name = request.check.bundle_name;
  question.bundle = request.check.bundle;
  question.trust_name = request.check.trust_name;
  question.trust = request.check.trust;
  question.stated_root = request.check.stated_root;
  question.successions = request.check.successions;
  question.inclusion = request.check.inclusion;
  question.evidence.after = request.check.read;
  question.evidence.before = request.before;
  question.evidence.scan = request.scan;
  if (Status status = take_salt(request, question.evidence.salt); !status) return failed(status.error());
  Confirmation confirmation = confirm_bundle(std::move(question));
  calseal_result result;
  result.outcome = confirmation.reason        ? CALSEAL_REFUSED
                   : confirmation.confirmed() ? CALSEAL_CONFIRMED
                                              : CALSEAL_UNPROVED;
  result.report = confirmation_text(confirmation, plain);
  result.json = shown_json(confirmation_json(confirmation));
  result.grade = proof_grade_name(confirmation.grade);
  result.reason = std::move(confirmation.reason);
  return result;
}

calseal_result answer_describe(const std::string& name, ByteView bundle) {
  Result<OpenedBundle> opened = open_unverified(Bytes(bundle.begin(), bundle.end()), name);
  if (!opened) return failed(in_file(opened.error(), name));
  calseal_result result;
  result.outcome = CALSEAL_DESCRIBED;
  result.report = bundle_text(*opened, Page());
  result.json = shown_json(bundle_json(*opened));
  return result;
}

template <typename Ask>
int answer(const calseal_request* request, calseal_result** result, Ask ask) {
  if (result == nullptr) return CALSEAL_E_ARGUMENT;
  *result = nullptr;
  if (request == nullptr) return CALSEAL_E_ARGUMENT;
  if (!request->has_bundle || !request->has_trust) return CALSEAL_E_MISSING;
  return guarded([&] {
    *result = new calseal_result(ask(*request));
    return CALSEAL_OK;
  });
}

}  // namespace
}  // namespace calseal

const char* calseal_version(void) { return CALSEAL_VERSION; }

int calseal_abi(void) { return CALSEAL_ABI; }

const char* calseal_status_text(int status) {
  switch (status) {
    case CALSEAL_OK:
      return "done";
    case CALSEAL_E_ARGUMENT:
      return "an argument is missing or is not one of the allowed values";
    case CALSEAL_E_MISSING:
      return "the request has no bundle or no trust file";
    case CALSEAL_E_TOO_LARGE:
      return "larger or more than anything of this kind may be";
    case CALSEAL_E_TOO_SMALL:
      return "the buffer is too small";
    case CALSEAL_E_INDEX:
      return "no file of that index";
    case CALSEAL_E_MEMORY:
      return "out of memory";
    case CALSEAL_E_INTERNAL:
      return "a fault of calseal itself";
    default:
      return "unknown status";
  }
}

int calseal_request_new(calseal_request** request) {
  if (request == nullptr) return CALSEAL_E_ARGUMENT;
  *request = nullptr;
  return calseal::guarded([&] {
    *request = new calseal_request();
    return CALSEAL_OK;
  });
}

void calseal_request_free(calseal_request* request) { delete request; }

int calseal_request_set_file(calseal_request* request, int what, const char* name, const uint8_t* bytes,
                             size_t size) {
  const calseal::FileKind kind = calseal::file_kind(what);
  if (request == nullptr || kind.limit == 0 || (bytes == nullptr && size != 0)) return CALSEAL_E_ARGUMENT;
  if (size == 0 && what != CALSEAL_FILE_STATE) return CALSEAL_E_ARGUMENT;
  if (size > kind.limit) return CALSEAL_E_TOO_LARGE;
  return calseal::guarded([&]() -> int {
    const auto printable_name = calseal::name_of(name, kind.name);
    if (!printable_name) return CALSEAL_E_TOO_LARGE;
    return calseal::store_file(
        *request, what,
        {*printable_name, size == 0 ? calseal::Bytes() : calseal::Bytes(bytes, bytes + size)});
  });
}

int calseal_request_add_read(calseal_request* request, int what, const char* memory, const char* name,
                             const uint8_t* bytes, size_t size) {
  if (request == nullptr || bytes == nullptr || size == 0) return CALSEAL_E_ARGUMENT;
  if (what != CALSEAL_READ && what != CALSEAL_READ_BEFORE) return CALSEAL_E_ARGUMENT;
  if (size > calseal::kReadFileLimit) return CALSEAL_E_TOO_LARGE;
  return calseal::guarded([&]() -> int {
    std::string memory_name;
    if (memory != nullptr) {
      const auto length = calseal::length_within(memory, 64);
      if (!length || !calseal::is_memory_name({memory, *length})) return CALSEAL_E_ARGUMENT;
      memory_name.assign(memory, *length);
    }
    const auto printable_name = calseal::name_of(name, "read");
    if (!printable_name) return CALSEAL_E_TOO_LARGE;
    auto& files = what == CALSEAL_READ ? request->check.read : request->before;
    if (files.size() == calseal::kReadFileCountLimit) return CALSEAL_E_TOO_LARGE;
    files.push_back({memory_name, *printable_name, calseal::Bytes(bytes, bytes + size)});
    return CALSEAL_OK;
  });
}

int calseal_request_set_word(calseal_request* request, int what, const char* text) {
  if (request == nullptr || text == nullptr) return CALSEAL_E_ARGUMENT;
  if (what != CALSEAL_WORD_ROOT && what != CALSEAL_WORD_VEHICLE) return CALSEAL_E_ARGUMENT;
  const auto length = calseal::length_within(text, calseal::kWordLimit);
  if (!length) return CALSEAL_E_TOO_LARGE;
  return calseal::guarded([&] {
    std::string& word =
        what == CALSEAL_WORD_ROOT ? request->check.stated_root : request->check.evidence.vehicle_reference;
    word.assign(text, *length);
    return CALSEAL_OK;
  });
}

int calseal_request_declare(calseal_request* request, int what) {
  if (request == nullptr) return CALSEAL_E_ARGUMENT;
  switch (what) {
    case CALSEAL_DECLARE_READ_IS_FRESH:
      request->check.evidence.read_is_fresh = true;
      return CALSEAL_OK;
    case CALSEAL_DECLARE_REVIVE:
      request->check.revive = true;
      return CALSEAL_OK;
    case CALSEAL_DECLARE_RETURN:
      request->check.declared_return = true;
      return CALSEAL_OK;
    case CALSEAL_DECLARE_SEAL_ONLY:
      request->check.seal_only = true;
      return CALSEAL_OK;
    case CALSEAL_DECLARE_OLD_BASE:
      request->check.declared_old_base = true;
      return CALSEAL_OK;
    case CALSEAL_DECLARE_CLOCK:
      request->check.declared_clock = true;
      return CALSEAL_OK;
    default:
      return CALSEAL_E_ARGUMENT;
  }
}

int calseal_request_add_scan(calseal_request* request, const char* name, const char* value) {
  if (request == nullptr || name == nullptr || value == nullptr) return CALSEAL_E_ARGUMENT;
  const auto name_length = calseal::length_within(name, calseal::kScanValueLimit);
  const auto value_length = calseal::length_within(value, calseal::kScanValueLimit);
  if (!name_length || !value_length || request->scan.size() == calseal::kScanLimit)
    return CALSEAL_E_TOO_LARGE;
  return calseal::guarded([&] {
    request->scan.push_back({std::string(name, *name_length), std::string(value, *value_length)});
    return CALSEAL_OK;
  });
}

int calseal_check(const calseal_request* request, calseal_result** result) {
  return calseal::answer(request, result, calseal::answer_check);
}

int calseal_confirm(const calseal_request* request, calseal_result** result) {
  return calseal::answer(request, result, calseal::answer_confirm);
}

int calseal_describe(const char* name, const uint8_t* bundle, size_t size, calseal_result** result) {
  if (result == nullptr) return CALSEAL_E_ARGUMENT;
  *result = nullptr;
  if (bundle == nullptr || size == 0) return CALSEAL_E_ARGUMENT;
  if (size > calseal::kBundleSizeLimit) return CALSEAL_E_TOO_LARGE;
  return calseal::guarded([&]() -> int {
    const auto printable_name = calseal::name_of(name, "bundle");
    if (!printable_name) return CALSEAL_E_TOO_LARGE;
    *result = new calseal_result(calseal::answer_describe(*printable_name, {bundle, size}));
    return CALSEAL_OK;
  });
}

int calseal_result_outcome(const calseal_result* result) { return result == nullptr ? 0 : result->outcome; }

int calseal_result_text(const calseal_result* result, int what, char* buffer, size_t capacity, size_t* size) {
  if (result == nullptr) return CALSEAL_E_ARGUMENT;
  return calseal::guarded([&]() -> int {
    const calseal::Error reason = result->reason.value_or(calseal::Error{});
    const auto give = [&](const std::string& text) {
      return calseal::copy_text(text, buffer, capacity, size);
    };
    switch (what) {
      case CALSEAL_TEXT_REASON:
        return give(result->reason ? std::string(calseal::code(reason.reason)) : "");
      case CALSEAL_TEXT_MEANING:
        return give(result->reason ? std::string(calseal::info(reason.reason).meaning) : "");
      case CALSEAL_TEXT_FILE:
        return give(reason.file);
      case CALSEAL_TEXT_PLACE:
        return give(reason.place);
      case CALSEAL_TEXT_FOUND:
        return give(reason.found);
      case CALSEAL_TEXT_EXPECTED:
        return give(reason.expected);
      case CALSEAL_TEXT_NEXT:
        return give(reason.next);
      case CALSEAL_TEXT_REPORT:
        return give(result->report);
      case CALSEAL_TEXT_JSON:
        return give(result->json);
      case CALSEAL_TEXT_GRADE:
        return give(result->grade);
      default:
        return CALSEAL_E_ARGUMENT;
    }
  });
}

int calseal_result_file_count(const calseal_result* result, size_t* count) {
  if (result == nullptr || count == nullptr) return CALSEAL_E_ARGUMENT;
  *count = result->files.size();
  return CALSEAL_OK;
}

int calseal_result_file_name(const calseal_result* result, size_t index, int what, char* buffer,
                             size_t capacity, size_t* size) {
  if (result == nullptr) return CALSEAL_E_ARGUMENT;
  if (index >= result->files.size()) return CALSEAL_E_INDEX;
  const calseal::RebuiltFile& file = result->files[index];
  if (what == CALSEAL_NAME_MEMORY) return calseal::copy_text(file.memory, buffer, capacity, size);
  if (what == CALSEAL_NAME_SOURCE) return calseal::copy_text(file.source, buffer, capacity, size);
  return CALSEAL_E_ARGUMENT;
}

int calseal_result_file_bytes(const calseal_result* result, size_t index, uint8_t* buffer, size_t capacity,
                              size_t* size) {
  if (result == nullptr) return CALSEAL_E_ARGUMENT;
  if (index >= result->files.size()) return CALSEAL_E_INDEX;
  const calseal::Bytes& bytes = result->files[index].bytes;
  return calseal::copy_out(bytes.data(), bytes.size(), false, buffer, capacity, size);
}

int calseal_result_state(const calseal_result* result, int when, uint8_t* buffer, size_t capacity,
                         size_t* size) {
  if (result == nullptr) return CALSEAL_E_ARGUMENT;
  if (when != CALSEAL_STATE_AFTER_LOOK && when != CALSEAL_STATE_AFTER_WRITE) return CALSEAL_E_ARGUMENT;
  const std::string& state =
      when == CALSEAL_STATE_AFTER_LOOK ? result->state_after_look : result->state_after_write;
  return calseal::copy_out(state.data(), state.size(), false, buffer, capacity, size);
}

void calseal_result_free(calseal_result* result) { delete result; }
