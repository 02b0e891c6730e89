#include "calseal/report/page/customer_page.h"

#include <algorithm>
#include <array>
#include <utility>

#include "calseal/base/base64.h"
#include "calseal/base/text.h"
#include "calseal/digest/sha256.h"
#include "calseal/report/page/page_sources.h"

namespace calseal {
namespace {

// Text as text, in elements and in quoted attributes.
std::string escaped(std::string_view text) {
  std::string out;
  for (const char c : text) {
    switch (c) {
      case '&':
        out += "&amp;";
        break;
      case '<':
        out += "&lt;";
        break;
      case '>':
        out += "&gt;";
        break;
      case '"':
        out += "&quot;";
        break;
      default:
        out.push_back(c);
    }
  }
  return out;
}

// A source of Content-Security-Policy Level 3: these bytes, and no others.
std::string csp_source(std::string_view text) {
  return "sha256-" + to_base64(compute_sha256(view_of(text)).bytes);
}

}  // namespace

std::string customer_page(ByteView trust_file, const TrustFile& trust, std::string_view tool) {
  const std::array<std::pair<std::string_view, std::string>, 8> values{{
      {"{{SCRIPT_HASH}}", csp_source(page_script())},
      {"{{STYLE_HASH}}", csp_source(page_style())},
      {"{{SHOP}}", escaped(printable(trust.shop))},
      {"{{TRUST}}", to_base64(trust_file)},
      {"{{FINGERPRINT}}", fingerprint_text(compute_key_id(trust.root))},
      {"{{TOOL}}", escaped(tool)},
      {"{{STYLE}}", std::string(page_style())},
      {"{{SCRIPT}}", std::string(page_script())},
  }};
  std::string page;
  for (std::string_view rest = page_template(); !rest.empty();) {
    const std::size_t at = std::min(rest.find("{{"), rest.size());
    page += rest.substr(0, at);
    rest.remove_prefix(at);
    for (const auto& [name, value] : values) {
      if (!rest.starts_with(name)) continue;
      page += value;
      rest.remove_prefix(name.size());
      break;
    }
  }
  return page;
}

}  // namespace calseal
