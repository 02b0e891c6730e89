#include "calseal/cli/shop/seal_summary.h"

#include "calseal/base/json_write.h"
#include "calseal/base/text.h"

namespace calseal {

std::string seal_summary(const SealedBundle& sealed, const std::string& output) {
  const Manifest& manifest = sealed.manifest;
  const ManifestController& controller = manifest.controller();
  std::string text = "sealed    " + output + "  (" + grouped(sealed.file.size()) + " bytes)\n";
  text += "revision  " + std::to_string(manifest.revision) + " of job " + manifest.job + ", " +
          controller.name + ", base " + std::to_string(manifest.base_number) + ", sequence " +
          std::to_string(manifest.sequence) + "\n";
  text += "proved    " + grouped(sealed.proof.changed_bytes()) + " bytes changed in " +
          grouped(coalesce(sealed.proof.changes).size()) +
          " places, all within the areas declared by region map " + controller.map_name + " (" +
          controller.map_grade + "); " + std::to_string(controller.checksums.size()) +
          " checksums and copies judged\n";
  text += "identity  " + digest_text(sealed.digest) + "\n";
  for (const std::string& caution : manifest.cautions) text += "caution   " + printable(caution) + "\n";
  if (sealed.incomplete)
    text += "INCOMPLETE  required signatures are missing; nobody accepts this bundle before they are added\n";
  return text;
}

JsonValue seal_summary_json(const SealedBundle& sealed, const std::string& output) {
  const Manifest& manifest = sealed.manifest;
  return json_object({{"calseal", json("seal/1")},
                      {"output", json(output)},
                      {"identity", json(digest_text(sealed.digest))},
                      {"job", json(manifest.job)},
                      {"controller", json(manifest.controller().name)},
                      {"base", json(manifest.base_number)},
                      {"revision", json(manifest.revision)},
                      {"sequence", json(manifest.sequence)},
                      {"map_digest", json(digest_text(manifest.controller().map_digest))},
                      {"pinned", json(digest_text(manifest.controller().pinned_after))},
                      {"size", json(sealed.file.size())},
                      {"changed_bytes", json(sealed.proof.changed_bytes())},
                      {"incomplete", json(sealed.incomplete)}});
}

}  // namespace calseal
