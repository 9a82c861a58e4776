#include "emulator/bench/parameter.hpp"

#include <fmt/format.h>
#include <fmt/ranges.h>

#include <algorithm>
#include <charconv>
#include <cmath>
#include <stdexcept>

#include "emulator/bench/nearest.hpp"

namespace stillrotor {
namespace {

template <class... F>
struct Overload : F... {
  using F::operator()...;
};
template <class... F>
Overload(F...) -> Overload<F...>;

double bound(const std::string& text, Family family) {
  const Conversion conversion = to_si(text, family);
  if (!conversion) throw std::logic_error("parameter table: " + conversion.problem);
  return conversion.si;
}

std::string out_of_range(const Parameter& parameter, std::string_view written) {
  return fmt::format("{} is {}; allowed {}", parameter.path, written, allowed(parameter));
}

std::string read_real(const Parameter& parameter, const Real& real, std::string_view written,
                      Draft& draft) {
  const Conversion conversion = to_si(written, real.family);
  if (!conversion)
    return fmt::format("{}: {}; allowed {}", parameter.path, conversion.problem,
                       allowed(parameter));
  const double least = bound(real.least, real.family), most = bound(real.most, real.family);
  // The bound itself in another unit, 100 ns for 0.1 us, comes with a rounding of its own.
  constexpr double rounding = 1e-12;
  if (conversion.si < least - rounding * std::abs(least) ||
      conversion.si > most + rounding * std::abs(most) ||
      (real.least_excluded && conversion.si <= least))
    return out_of_range(parameter, written);
  real.at(draft) = std::clamp(conversion.si, least, most);
  return {};
}

std::string read_whole(const Parameter& parameter, const Whole& whole, std::string_view written,
                       Draft& draft) {
  int value = 0;
  const bool hexadecimal = written.starts_with("0x");  // as chips' manuals write offsets
  const char* const end = written.data() + written.size();
  const auto [rest, error] =
      std::from_chars(written.data() + (hexadecimal ? 2 : 0), end, value, hexadecimal ? 16 : 10);
  if (error != std::errc{} || rest != end || value < whole.least || value > whole.most)
    return out_of_range(parameter, written);
  whole.at(draft) = value;
  return {};
}

std::string read_choice(const Parameter& parameter, const Choice& choice, std::string_view written,
                        Draft& draft) {
  const auto found = std::find(choice.words.begin(), choice.words.end(), written);
  if (found == choice.words.end()) return out_of_range(parameter, written);
  choice.at(draft) = static_cast<int>(found - choice.words.begin());
  return {};
}

std::string read_text(const Parameter& parameter, const Text& text, std::string_view written,
                      Draft& draft) {
  constexpr std::size_t longest = 1000;
  if (written.empty() || written.size() > longest)
    return fmt::format("{} has {} characters; allowed {}, 1 to {} characters", parameter.path,
                       written.size(), text.form, longest);
  text.at(draft) = written;
  return {};
}

}  // namespace

std::string role_names(unsigned roles) {
  std::vector<std::string> names;
  if ((roles & role::mcu) != 0) names.emplace_back("mcu");
  if ((roles & role::hostfw) != 0) names.emplace_back("hostfw");
  if ((roles & role::standin) == role::standin) {
    names.emplace_back("standin");
  } else {
    if ((roles & role::six_step) != 0) names.emplace_back("standin six_step");
    if ((roles & role::field_oriented) != 0) names.emplace_back("standin field_oriented");
    if ((roles & role::volts_per_hertz) != 0) names.emplace_back("standin volts_per_hertz");
  }
  if ((roles & role::capture) != 0) names.emplace_back("capture");
  if ((roles & role::gpiod) != 0) names.emplace_back("gpiod");
  if ((roles & role::polled) != 0) names.emplace_back("polled");
  if ((roles & role::link) != 0) names.emplace_back("link");
  if ((roles & role::permanent_magnet) != 0) names.emplace_back("permanent_magnet");
  if ((roles & role::induction) != 0) names.emplace_back("induction");
  return fmt::format("{}", fmt::join(names, ", "));
}

bool read_switch(std::string_view written, bool& value) noexcept {
  if (written == "on" || written == "true") return value = true, true;
  if (written == "off" || written == "false") return value = false, true;
  return false;
}

std::string read_value(const Parameter& parameter, std::string_view written, Draft& draft) {
  return std::visit(
      Overload{[&](const Whole& b) { return read_whole(parameter, b, written, draft); },
               [&](const Real& b) { return read_real(parameter, b, written, draft); },
               [&](const Switched& b) {
                 return read_switch(written, b.at(draft)) ? std::string()
                                                          : out_of_range(parameter, written);
               },
               [&](const Choice& b) { return read_choice(parameter, b, written, draft); },
               [&](const Text& b) { return read_text(parameter, b, written, draft); }},
      parameter.binding);
}

std::string exact_value(const Parameter& parameter, Draft& draft) {
  return std::visit(
      Overload{[&](const Whole& b) { return fmt::format("{}", b.at(draft)); },
               [&](const Real& b) { return from_si(b.at(draft), b.family); },
               [&](const Switched& b) { return std::string(b.at(draft) ? "on" : "off"); },
               [&](const Choice& b) { return b.words.at(static_cast<std::size_t>(b.at(draft))); },
               [&](const Text& b) { return b.at(draft); }},
      parameter.binding);
}

std::string shown_value(const Parameter& parameter, Draft& draft) {
  if (const Real* real = std::get_if<Real>(&parameter.binding))
    return shown_si(real->at(draft), real->family);
  return exact_value(parameter, draft);
}

std::string allowed(const Parameter& parameter) {
  return std::visit(
      Overload{[](const Whole& b) { return fmt::format("{} to {}", b.least, b.most); },
               [](const Real& b) {
                 return b.least_excluded ? fmt::format("above {}, up to {}", b.least, b.most)
                                         : fmt::format("{} to {}", b.least, b.most);
               },
               [](const Switched&) { return std::string("on or off"); },
               [](const Choice& b) { return fmt::format("{}", fmt::join(b.words, ", ")); },
               [](const Text& b) { return b.form; }},
      parameter.binding);
}

std::string unit_word(const Parameter& parameter) {
  return std::visit(
      Overload{[](const Whole&) { return std::string("count"); },
               [](const Real& b) {
                 return std::string(b.family == Family::ratio ? "1" : si_unit(b.family));
               },
               [](const Switched&) { return std::string("on/off"); },
               [](const Choice&) { return std::string("word"); },
               [](const Text&) { return std::string("text"); }},
      parameter.binding);
}

}  // namespace stillrotor
