#include "calseal/cli/shop/seal_words.h"

#include "calseal/base/file.h"
#include "calseal/base/text.h"
#include "calseal/cli/reads/read_arguments.h"
#include "calseal/cli/shop/stated.h"

namespace calseal {
namespace {

Status state_returns(const std::vector<std::string>& returns, RevisionStatement& said) {
  for (const std::string& text : returns) {
    const auto digest = parse_digest(text);
    if (!digest) {
      return fail(usage_error("--permit-return", "\"" + printable(text, 80) + "\"",
                              "an identity: 64 lower-case hexadecimal digits", "copy it from calseal show"));
    }
    said.permitted_returns.push_back(*digest);
  }
  return {};
}

Status state_annotations(const std::vector<std::string>& annotations, RevisionStatement& said) {
  for (const std::string& text : annotations) {
    const std::size_t equals = text.find('=');
    if (equals == std::string::npos) {
      return fail(usage_error("--annotate", "\"" + printable(text, 80) + "\"", "NAME=TEXT",
                              "write the name before an equals sign"));
    }
    said.annotations.emplace_back(text.substr(0, equals), text.substr(equals + 1));
  }
  return {};
}

}  // namespace

Result<std::vector<Attachment>> load_attachments(const std::vector<std::string>& paths) {
  std::vector<Attachment> attachments;
  for (const std::string& path : paths) {
    CALSEAL_ASSIGN(Bytes content, read_file(path, kEntrySizeLimit));
    const std::string file = path.substr(path.rfind('/') + 1);
    attachments.push_back({file, file, std::move(content)});
  }
  return attachments;
}

Status state_words(const SealOptions& options, SealRequest& request) {
  RevisionStatement& said = request.statement;
  if (options.sequence != 0) said.sequence = options.sequence;
  said.title = options.title;
  said.requirements = options.requirements;
  said.cautions = options.cautions;
  said.expires = options.expires;
  request.payload = options.payload == "full" ? PayloadKind::kFull : PayloadKind::kAreas;
  request.packing = options.packing == "stored" ? Packing::kStored : Packing::kSmallest;
  if (!options.roles.empty()) said.required_roles = options.roles;
  if (!options.notes_file.empty()) {
    CALSEAL_ASSIGN(said.notes, read_text_file(options.notes_file, 65536));
  }
  CALSEAL_CHECK(state_returns(options.returns, said));
  CALSEAL_CHECK(state_annotations(options.annotations, said));
  CALSEAL_ASSIGN(said.attachments, load_attachments(options.attachments));
  CALSEAL_ASSIGN(request.options, load_options(options.option_files));
  request.account = options.account;
  request.unaccounted_reason = options.unaccounted;
  request.limits_reason = options.beyond_limits;
  if (!options.set.empty()) {
    CALSEAL_ASSIGN(const Bytes bytes, read_file(options.set, kSetSizeLimit));
    CALSEAL_ASSIGN(said.set, parse_set(bytes, printable(options.set)));
  }
  return {};
}

}  // namespace calseal
