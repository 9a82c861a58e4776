// Text on its way into XML, SVG or HTML, in an element or an attribute.
#pragma once

#include <string>
#include <string_view>

namespace stillrotor {

/// What such a document cannot hold (control characters) becomes a question mark.
inline std::string escaped(std::string_view text) {
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
      case '\'':
        out += "&#39;";
        break;
      case '\n':
        out += "&#10;";
        break;
      default:
        out += static_cast<unsigned char>(c) < 0x20 && c != '\t' ? '?' : c;
    }
  }
  return out;
}

}  // namespace stillrotor
