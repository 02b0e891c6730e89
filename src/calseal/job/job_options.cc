#include "calseal/job/job_options.h"

#include <algorithm>

#include "calseal/base/text.h"
#include "calseal/job/layout.h"
#include "calseal/option/account.h"

namespace calseal {

Result<std::vector<OptionFile>> load_option_files(const Job& job, const std::vector<std::string>& files) {
  std::vector<OptionFile> options;
  for (const std::string& file : files) {
    CALSEAL_ASSIGN(Bytes text, read_file(job.folder + "/" + file, kOptionSizeLimit));
    CALSEAL_ASSIGN(OptionFile option, parse_option(std::move(text), printable(file)));
    options.push_back(std::move(option));
  }
  return options;
}

Result<std::vector<OptionFile>> options_of(const Job& job, const JobBase& base, const Manifest& manifest) {
  std::vector<OptionFile> wanted;
  if (manifest.options.empty()) return wanted;
  CALSEAL_ASSIGN(const std::vector<OptionFile> kept, load_option_files(job, base.option_files()));
  for (const ManifestOption& option : manifest.options) {
    const auto found = std::ranges::find(kept, option.digest, &OptionFile::digest);
    if (found == kept.end()) {
      return fail({Reason::kJobDamaged, printable(job.folder), base_folder(base.number) + "/options",
                   "no file of option " + option.name + " with the digest that the revision names",
                   "every option of the revision", "put the option file back"});
    }
    wanted.push_back(*found);
  }
  return wanted;
}

Result<std::vector<OptionFile>> options_in_force(const Job& job, const JobBase& base) {
  const JobRevision* newest = base.newest();
  if (newest == nullptr || newest->number() == 0) return load_option_files(job, base.options);
  return options_of(job, base, newest->manifest);
}

std::string option_file_to_write(const Job& job, const OptionFile& option, std::uint64_t revision) {
  const JobBase& base = job.base();
  for (const std::string& file : base.option_files()) {
    const auto bytes = read_file(job.folder + "/" + file, kOptionSizeLimit);
    if (bytes && compute_sha256(*bytes) == option.digest) return "";
  }
  return base_folder(base.number) + "/edited/r" + std::to_string(revision) + "-" + option.option.name +
         std::string(kSentOptionEnd);
}

Result<std::vector<std::string>> put_in_options(const Plan& plan, const Image& base,
                                                const std::vector<OptionFile>& options,
                                                const StatedConditions& stated, Image& edited) {
  CALSEAL_ASSIGN(const Account account, make_account(plan, base, edited, options));
  std::vector<std::string> absent;
  for (const Account::Share& share : account.shares) {
    if (share.bytes == 0 && share.missing > 0) absent.push_back(share.option);
  }
  if (absent.empty()) return absent;
  const Composition composed = lay_options(plan, base, options, stated);
  if (!composed.holds()) return fail(composed.problems.front());
  std::vector<std::string> put_in;
  for (const OptionFile& option : options) {
    if (std::ranges::find(absent, option.option.name) == absent.end()) continue;
    CALSEAL_ASSIGN(const std::vector<PlacedEdit> edits, place_edits(*plan.map, option));
    const bool untouched = std::ranges::all_of(edits, [&](const PlacedEdit& edit) {
      const auto& [memory, range] = edit.place;
      return std::ranges::equal(edited.memories[memory].view(range), base.memories[memory].view(range));
    });
    if (!untouched) continue;
    for (const PlacedEdit& edit : edits) {
      const auto& [memory, range] = edit.place;
      std::ranges::copy(composed.image.memories[memory].view(range),
                        edited.memories[memory].span(range).begin());
    }
    put_in.push_back(option.option.name);
  }
  return put_in;
}

Result<const OptionFile*> find_undeclared(const Plan& plan, const Image& base, const Image& image,
                                          const std::vector<OptionFile>& declared,
                                          const std::vector<OptionFile>& others) {
  CALSEAL_ASSIGN(const Account told, make_account(plan, base, image, declared));
  if (told.is_complete()) return nullptr;
  for (const OptionFile& option : others) {
    std::vector<OptionFile> more = declared;
    more.push_back(option);
    const Result<Account> account = make_account(plan, base, image, more);
    if (!account) continue;  // it has no place here
    const auto share = std::ranges::find(account->shares, option.option.name, &Account::Share::option);
    const bool whole = share != account->shares.end() && share->missing == 0;
    if (whole && account->bytes(Origin::kUnaccounted) < told.bytes(Origin::kUnaccounted)) return &option;
  }
  return nullptr;
}

}  // namespace calseal
