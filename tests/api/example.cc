// From a first read and an edited image to a sealed revision, and to the image that a customer may write.
//
//   example REGIONS READ EDITED TRUST KEY PASSPHRASE FOLDER
#include <cstdio>
#include <fstream>
#include <iterator>
#include <string>

#include "calseal/api/calseal.h"

namespace {

using namespace calseal;

api::File load(const std::string& path) {
  std::ifstream in(path, std::ios::binary);
  return {path, Bytes(std::istreambuf_iterator<char>(in), {}), ""};
}

bool store(const std::string& path, const Bytes& bytes) {
  std::ofstream out(path, std::ios::binary);
  out.write(reinterpret_cast<const char*>(bytes.data()), static_cast<std::streamsize>(bytes.size()));
  return out.flush().good();
}

int refused(const Error& error) {
  std::printf("%s: %s; expected: %s\n", std::string(code(error.reason)).c_str(), error.found.c_str(),
              error.expected.c_str());
  return 1;
}

}  // namespace

int main(int argc, char** argv) {
  if (argc != 8) return 2;
  const auto map = api::Map::parse(load(argv[1]));
  if (!map) return refused(map.error());
  const api::File read = load(argv[2]), edited = load(argv[3]);
  const auto corrected = api::correct(*map, {edited}, {read});
  if (!corrected) return refused(corrected.error());
  std::printf("corrected %zu places\n", corrected->corrections.size());

  api::Shop shop;
  shop.trust = load(argv[4]);
  const auto key = api::SigningKey::open(load(argv[5]), argv[6]);
  if (!key) return refused(key.error());
  shop.keys = {*key};
  shop.tool = "example 1.0";
  const auto base = api::seal({*map, {read}, "job-1", "blue estate", {}, {}}, shop);
  if (!base) return refused(base.error());
  api::RevisionRequest next;
  next.base = {"r0.calseal", base->bundle, ""};
  next.edited = corrected->files;
  next.words.title = "first tune";
  const auto revision = api::seal(next, shop);
  if (!revision) return refused(revision.error());
  std::printf("sealed revision %d\n", static_cast<int>(revision->revision));

  api::CheckRequest question;
  question.bundle = {"r1.calseal", revision->bundle, ""};
  question.trust = shop.trust;
  question.read = {read};
  question.read_is_fresh = true;
  question.vehicle_reference = "blue estate";
  const api::Verdict verdict = api::check(question);
  if (verdict.reason) return refused(*verdict.reason);
  const std::string folder = argv[7];
  return store(folder + "/r0.calseal", base->bundle) && store(folder + "/r1.calseal", revision->bundle) &&
                 store(folder + "/image", verdict.files.front().bytes)
             ? 0
             : 3;
}
