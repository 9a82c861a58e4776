// What the controller says: lines of text, counted, and numbers read out of them.
#include <charconv>
#include <cmath>
#include <optional>
#include <regex>

#include "emulator/judge/measure_rows.hpp"
#include "emulator/judge/wording.hpp"

namespace stillrotor {
namespace {

/// Calls found(match) for each line of text that the pattern finds itself in. Empty: it works.
template <class Found>
std::string each_match(const MeasureInput& input, const Found& found) {
  if (input.argument.empty()) return "it needs a pattern: give it with `pattern`";
  try {
    const std::regex pattern(input.argument.begin(), input.argument.end());
    std::smatch match;
    for (const RecordedMark& mark : input.record().marks())
      if (mark.kind == MarkKind::text && mark.at_ps >= input.window.from_ps &&
          mark.at_ps <= input.window.to_ps && std::regex_search(mark.detail, match, pattern))
        found(match);
  } catch (const std::regex_error&) {
    return "\"" + std::string(input.argument) + "\" is no regular expression that works";
  }
  return {};
}

std::optional<double> whole_number(const std::string& text) {
  double value = 0.0;
  const char* const end = text.data() + text.size();
  const auto [rest, error] = std::from_chars(text.data(), end, value);
  if (text.empty() || error != std::errc{} || rest != end || !std::isfinite(value)) return {};
  return value;
}

}  // namespace

Measurement text_matches(const MeasureInput& input) {
  Measurement count;
  const std::string wrong = each_match(input, [&](const std::smatch&) { count.value += 1.0; });
  return wrong.empty() ? count : undefined(wrong);
}

Measurement text_number(const MeasureInput& input) {
  std::optional<double> said;
  std::string doubt;
  const std::string wrong = each_match(input, [&](const std::smatch& match) {
    if (!doubt.empty()) return;
    const std::string text = match.size() > 1 ? match[1].str() : std::string();
    const std::optional<double> value = whole_number(text);
    if (!value) {
      doubt = "what its parentheses find, \"" + text + "\", is no number";
    } else if (said && *said != *value) {
      doubt = "lines differ: " + number_text(*said, 12) + ", later " + number_text(*value, 12) +
              ". Narrow the window, or the pattern";
    }
    said = value;
  });
  if (!wrong.empty()) return undefined(wrong);
  if (!doubt.empty()) return undefined(doubt);
  if (!said) return undefined("the controller sent no line that fits");
  Measurement answer;
  answer.value = *said;
  return answer;
}

}  // namespace stillrotor
