// A sealed bundle in its parts, where any text may stand as manifest and any bytes as contents; put together
// with true headers and true signatures, so that exactly what was bent is wrong.
#pragma once

#include <stdexcept>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

#include "calseal/base/text.h"
#include "calseal/bundle/entries.h"
#include "calseal/bundle/framing.h"
#include "calseal/sign/seal.h"

namespace calseal {

// Replaces the one place where `from` stands.
inline std::string replaced(std::string text, std::string_view from, std::string_view to) {
  const std::size_t at = text.find(from);
  if (at == std::string::npos) throw std::runtime_error("nothing to replace: " + std::string(from));
  return text.replace(at, from.size(), to);
}

struct BentBundle {
  std::string manifest;
  std::vector<PrefixSignature> signatures;  // in the order in which they will stand
  std::vector<FramedEntry> entries;         // those behind the signatures
  std::vector<Bytes> stored;                // of `entries`

  explicit BentBundle(const SealedBundle& sealed) {
    const auto prefix = read_prefix(sealed.file, "b");
    const auto framing = verify_framing(sealed.file, *prefix, sealed.manifest, "b");
    manifest = text_of(prefix->manifest);
    signatures = prefix->signatures;
    for (std::size_t i = 0; i < sealed.manifest.entries.size(); ++i) {
      entries.push_back(framing->entries[framing->first_listed + i]);
      const ByteView bytes = stored_bytes(sealed.file, *framing, i);
      stored.emplace_back(bytes.begin(), bytes.end());
    }
  }

  BentBundle& replace(std::string_view from, std::string_view to) {
    manifest = replaced(manifest, from, to);
    return *this;
  }

  BentBundle& sign(const SigningKeys& keys) {
    signatures.clear();
    for (const PrivateKey& key : keys) signatures.push_back(*key.sign_unverified(view_of(manifest)));
    return *this;
  }

  std::size_t index_of(std::string_view name) const {
    for (std::size_t i = 0; i < entries.size(); ++i) {
      if (entries[i].name == name) return i;
    }
    throw std::runtime_error("no entry " + std::string(name));
  }

  // Other stored bytes for one entry: header and manifest name them as they are, and keep what was said of
  // the content.
  BentBundle& store(std::string_view name, Bytes bytes) {
    const std::size_t i = index_of(name);
    const auto words = [](const Bytes& b) {
      return "\"stored_size\":" + std::to_string(b.size()) + ",\"stored_digest\":\"" +
             to_hex(compute_sha256(b).bytes) + "\"";
    };
    replace(words(stored[i]), words(bytes));
    entries[i].stored_size = bytes.size();
    stored[i] = std::move(bytes);
    return *this;
  }

  // The bytes of the file.
  Bytes file() const {
    std::vector<FramedEntry> framed;
    std::vector<ByteView> contents;
    const auto add_stored = [&](std::string name, ByteView content) {
      framed.push_back(
          {std::move(name), false, content.size(), content.size(), compute_entry_crc32(content)});
      contents.push_back(content);
    };
    add_stored(std::string(kManifestName), view_of(manifest));
    for (const PrefixSignature& signature : signatures)
      add_stored(signature_entry_name(signature.key_id), signature.signature);
    const std::size_t first_listed = framed.size();
    for (std::size_t i = 0; i < entries.size(); ++i) {
      framed.push_back(entries[i]);
      contents.emplace_back(stored[i]);
    }
    const Framing framing = compute_framing(framed, first_listed);
    Bytes out;
    const auto append = [&](ByteView bytes) { out.insert(out.end(), bytes.begin(), bytes.end()); };
    for (std::size_t i = 0; i < framed.size(); ++i) {
      append(local_header(framed[i]));
      append(contents[i]);
    }
    append(central_directory(framing));
    return out;
  }
};

}  // namespace calseal
