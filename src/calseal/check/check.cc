#include "calseal/check/check.h"

#include <algorithm>

#include "calseal/base/text.h"
#include "calseal/bundle/prefix.h"
#include "calseal/check/revive.h"

namespace calseal {
namespace {

void note_evidence(const CheckRequest& request, Verdict& verdict) {
  const auto add = [&](std::string name, bool given, std::string detail) {
    verdict.evidence.push_back({std::move(name), given, std::move(detail)});
  };
  std::string files;
  for (const ReadFile& file : request.read) {
    files +=
        (files.empty() ? "" : ", ") + (file.memory.empty() ? "" : file.memory + "=") + printable(file.name);
  }
  add("trust-file", true, printable(request.trust_name));
  add("root-fingerprint", !request.stated_root.empty(), printable(request.stated_root));
  add("read", !request.read.empty(), files);
  add("read-is-fresh", request.evidence.read_is_fresh, request.evidence.read_is_fresh ? "declared" : "");
  add("salt", request.evidence.salt.has_value(), "");
  add("vehicle-reference", !request.evidence.vehicle_reference.empty(),
      printable(request.evidence.vehicle_reference));
  add("revive", request.revive, request.revive ? "declared" : "");
}

void note_cautions(const CheckRequest& request, const OpenedBundle& opened, Verdict& verdict) {
  const Manifest& manifest = opened.manifest;
  const auto add = [&](std::string code, std::string text) {
    verdict.cautions.push_back({std::move(code), std::move(text)});
  };
  if (request.stated_root.empty()) {
    add("root-not-confirmed", "compare the fingerprint with the shop by voice: " + verdict.root_fingerprint);
  }
  add("newest-unknown", "sealed " + manifest.claimed_time +
                            " (claimed); without a network nobody can tell whether a newer revision exists");
  if (!opened.map.evidence.verified) {
    add("map-draft", "the region map " + opened.map.name + " is graded draft: it is believed, not verified");
  }
  if (manifest.trial) add("trial", "a trial revision; it expires at " + manifest.expires);
  if (opened.set) {
    std::string others;
    for (const SetMember& member : opened.set->members) {
      if (member.controller != manifest.controller().name)
        others += (others.empty() ? "" : ", ") + member.controller;
    }
    add("set", "belongs to a set: write " + others + " too; in between the vehicle " +
                   (opened.set->drivable_between ? "can be driven" : "must not be driven"));
  }
  for (const std::string& text : manifest.cautions) add("shop", text);
}

Status judge(CheckRequest& request, Verdict& verdict) {
  CALSEAL_ASSIGN(const TrustFile trust,
                 parse_trust_file(request.trust, request.stated_root, request.trust_name));
  verdict.shop = trust.shop;
  verdict.root_fingerprint = fingerprint_text(compute_key_id(trust.root));
  CALSEAL_ASSIGN(const OpenedBundle opened, open_sealed(std::move(request.bundle), request.bundle_name, trust,
                                                        request.now, verdict.steps));
  verdict.manifest = opened.manifest;
  verdict.manifest_digest = opened.digest;
  verdict.signers = opened.signers;
  note_cautions(request, opened, verdict);
  if (request.seal_only) return {};
  if (!request.read.empty()) {
    CALSEAL_ASSIGN(const Read read, load_read(opened.map, std::move(request.read)));
    return rebuild(opened, read, request.evidence, verdict);
  }
  if (request.revive) return revive(opened, request.evidence, verdict);
  return fail(
      {Reason::kReadMissing, request.bundle_name, "", "no read",
       "the controller's own read, from before this write",
       opened.manifest.revision == 0
           ? "give the read; or, when the controller can no longer be read, revive with the vehicle reference"
           : "give the read; to look at the seal alone, ask for that"});
}

}  // namespace

Verdict check_bundle(CheckRequest request) {
  Verdict verdict;
  verdict.steps = all_steps();
  note_evidence(request, verdict);
  if (Status status = judge(request, verdict); !status) {
    verdict.reason = in_file(std::move(status.error()), request.bundle_name);
    verdict.outcome = Outcome::kRefused;
    verdict.files.clear();
    return verdict;
  }
  verdict.outcome = request.seal_only ? Outcome::kAuthentic : Outcome::kAccepted;
  if (request.seal_only) {
    for (Step& step : verdict.steps) {
      if (step.state == StepState::kNotReached) step.state = StepState::kNotAsked;
    }
  }
  return verdict;
}

Result<Bytes> parse_salt(ByteView file, const std::string& name) {
  std::string_view text = text_of(file);
  if (text.ends_with('\n')) text.remove_suffix(1);
  if (text.ends_with('\r')) text.remove_suffix(1);
  auto salt = from_hex(text);
  if (!salt || salt->size() != kSaltSize) {
    return fail({Reason::kSaltWrong, name, "", std::to_string(text.size()) + " characters",
                 "64 lower-case hexadecimal digits",
                 "use the salt file that the shop gave you for this job"});
  }
  return *std::move(salt);
}

}  // namespace calseal
