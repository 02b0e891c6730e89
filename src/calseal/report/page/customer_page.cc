#include "calseal/report/page/customer_page.h"

#include <algorithm>
#include <array>
#include <utility>

#include "calseal/base/base64.h"
#include "calseal/base/text.h"
#include "calseal/digest/sha256.h"
#include "calseal/report/html/document.h"
#include "calseal/report/page/page_sources.h"
#include "calseal/trust/spoken_code.h"

namespace calseal {
std::string customer_page(ByteView trust_file, const TrustFile& trust, ByteView sheet,
                          std::string_view tool) {
  const std::array<std::pair<std::string_view, std::string>, 9> values{{
      {"{{SCRIPT_HASH}}", csp_source(page_script())},
      {"{{STYLE_HASH}}", csp_source(page_style())},
      {"{{SHOP}}", escaped_markup(printable(trust.shop))},
      {"{{TRUST}}", to_base64(trust_file)},
      {"{{SHEET}}", to_base64(sheet)},
      {"{{FINGERPRINT}}", spoken_code(Spoken::kKey, compute_key_id(trust.root))},
      {"{{TOOL}}", escaped_markup(tool)},
      {"{{STYLE}}", std::string(page_style())},
      {"{{SCRIPT}}", std::string(page_script())},
  }};
  std::string page;
  for (std::string_view rest = page_template(); !rest.empty();) {
    const std::size_t at = std::min(rest.find("{{"), rest.size());
    page += rest.substr(0, at);
    rest.remove_prefix(at);
    const auto* const known =
        std::ranges::find_if(values, [&](const auto& one) { return rest.starts_with(one.first); });
    // What the template has and this does not know stays as it is.
    page += known == values.end() ? rest.substr(0, 2) : std::string_view(known->second);
    rest.remove_prefix(known == values.end() ? std::min(rest.size(), std::size_t{2}) : known->first.size());
  }
  return page;
}

}  // namespace calseal
