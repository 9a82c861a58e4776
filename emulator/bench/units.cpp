#include "emulator/bench/units.hpp"

#include <fmt/format.h>
#include <udunits2.h>

#include <algorithm>
#include <cctype>
#include <charconv>
#include <cmath>
#include <memory>
#include <mutex>
#include <numbers>
#include <optional>
#include <span>
#include <stdexcept>
#include <vector>

namespace stillrotor {
namespace {

constexpr double two_pi = 2.0 * std::numbers::pi;

/// A dimension that a family accepts, and what one of it is in the family's SI unit.
struct Form {
  const char* unit;
  double factor;
};

struct FamilyInfo {
  Family family;
  std::string_view name, si, examples;
  std::vector<Form> forms;
};

const std::vector<FamilyInfo>& families() {
  static const std::vector<FamilyInfo> table{
      {Family::ratio, "a plain number", "", "0.05, 5 %, 1/20", {}},
      {Family::resistance, "a resistance", "ohm", "ohm, mohm", {{"ohm", 1}}},
      {Family::inductance, "an inductance", "H", "H, mH, uH", {{"H", 1}}},
      {Family::capacitance, "a capacitance", "F", "mF, uF", {{"F", 1}}},
      {Family::voltage, "a voltage", "V", "V, mV", {{"V", 1}}},
      {Family::current, "a current", "A", "A, mA", {{"A", 1}}},
      {Family::current_slope, "a rate of current", "A/s", "A/s", {{"A/s", 1}}},
      {Family::charge, "a charge", "C", "A h, mA h, C, nC", {{"A s", 1}}},
      {Family::flux_linkage, "a flux linkage", "Wb", "Wb, mWb, V s", {{"Wb", 1}}},
      {Family::angle, "an angle", "rad", "deg, rad, turn", {{"rad", 1}, {"turn", two_pi}}},
      {Family::rotational_speed,
       "a rotational speed",
       "rad/s",
       "rpm, rad/s, turn/s",
       {{"rad/s", 1}, {"turn/s", two_pi}}},
      {Family::speed_constant,
       "a speed constant",
       "V s/rad",
       "V/krpm, V s/rad",
       {{"V s/rad", 1}, {"V s/turn", 1 / two_pi}}},
      {Family::frequency, "a frequency", "Hz", "Hz, kHz, MHz", {{"Hz", 1}}},
      {Family::frequency_slope, "a rate of frequency", "Hz/s", "Hz/s", {{"Hz/s", 1}}},
      {Family::slew, "a rate per second", "/s", "/s", {{"s^-1", 1}}},
      {Family::time, "a time", "s", "s, ms, us, min", {{"s", 1}}},
      {Family::torque, "a torque", "N m", "N m, mN m", {{"N m", 1}}},
      {Family::inertia, "a moment of inertia", "kg m^2", "kg m^2, g m^2", {{"kg m^2", 1}}},
      {Family::viscous_friction,
       "a viscous friction",
       "N m s/rad",
       "N m s/rad, mN m s/rad",
       {{"N m s/rad", 1}, {"N m s", 1}, {"N m s/turn", 1 / two_pi}}},
      {Family::mass, "a mass", "kg", "kg, g", {{"kg", 1}}},
      {Family::length, "a length", "m", "m, mm", {{"m", 1}}},
      {Family::gain, "a gain", "V/A", "V/A, mV/A", {{"V/A", 1}}},
      {Family::temperature, "a temperature", "K", "degC, K", {{"K", 1}}},
      {Family::per_kelvin, "a share per kelvin", "/K", "%/K, /K", {{"K^-1", 1}}},
      {Family::voltage_slew, "a rate of voltage", "V/s", "V/s, mV/s", {{"V/s", 1}}},
      {Family::per_kelvin_squared, "a share per kelvin squared", "/K^2", "/K^2", {{"K^-2", 1}}},
      {Family::quadratic_drag,
       "a torque over the square of speed",
       "N m s^2/rad^2",
       "N m s^2/rad^2, mN m s^2/rad^2",
       {{"N m s^2/rad^2", 1}, {"N m s^2/turn^2", 1 / (two_pi * two_pi)}}},
      {Family::torsional_stiffness,
       "a torsional stiffness",
       "N m/rad",
       "N m/rad, kN m/rad",
       {{"N m/rad", 1}, {"N m/turn", 1 / two_pi}}},
      {Family::speed, "a speed", "m/s", "m/s, km/h", {{"m/s", 1}}},
      {Family::area, "an area", "m^2", "m^2", {{"m^2", 1}}},
      {Family::density, "a density", "kg/m^3", "kg/m^3", {{"kg/m^3", 1}}},
      {Family::power, "a power", "W", "W, kW", {{"W", 1}}},
      {Family::thermal_resistance, "a thermal resistance", "K/W", "K/W", {{"K/W", 1}}},
      {Family::heat_capacity, "a heat capacity", "J/K", "J/K, kJ/K", {{"J/K", 1}}},
      {Family::energy, "an energy", "J", "J, mJ, uJ", {{"J", 1}}},
  };
  return table;
}

const FamilyInfo& info(Family family) { return families()[static_cast<std::size_t>(family)]; }

struct FreeUnit {
  void operator()(ut_unit* unit) const noexcept { ut_free(unit); }
};
using Unit = std::unique_ptr<ut_unit, FreeUnit>;

/// The units this program knows. The library's parser has global state: one lock around it.
class UnitSystem {
 public:
  UnitSystem() : system_(ut_new_system()) {
    if (system_ == nullptr) throw std::runtime_error("the unit library cannot start");
    ut_set_error_message_handler(ut_ignore);
    for (const char* base : {"m", "kg", "s", "A", "K", "rad", "turn"})
      define(base, Unit(ut_new_base_unit(system_)));
    for (const auto& [prefix, factor] : {std::pair{"p", 1e-12},
                                         {"n", 1e-9},
                                         {"u", 1e-6},
                                         {"\u00b5", 1e-6},
                                         {"\u03bc", 1e-6},
                                         {"m", 1e-3},
                                         {"k", 1e3},
                                         {"M", 1e6}})
      ut_add_symbol_prefix(system_, prefix, factor);
    define("g", scaled(1e-3, "kg"));
    define("%", Unit(ut_scale(0.01, Unit(ut_get_dimensionless_unit_one(system_)).get())));
    for (const auto& [symbol, meaning] : {std::pair{"N", "kg m s^-2"},
                                          {"Nm", "N m"},
                                          {"J", "N m"},
                                          {"W", "J/s"},
                                          {"V", "W/A"},
                                          {"ohm", "V/A"},
                                          {"Ohm", "ohm"},
                                          {"\u03a9", "ohm"},
                                          {"\u2126", "ohm"},
                                          {"H", "V s/A"},
                                          {"F", "A s/V"},
                                          {"Wb", "V s"},
                                          {"Hz", "s^-1"},
                                          {"turns", "turn"},
                                          {"rev", "turn"}})
      define(symbol, scaled(1.0, meaning));
    define("min", scaled(60.0, "s"));
    define("h", scaled(3600.0, "s"));
    define("degC", Unit(ut_offset(parse("K").get(), 273.15)));
    define("\u00b0C", parse("degC"));
    define("C", scaled(1.0, "A s"));
    define("Ah", scaled(1.0, "A h"));
    define("rpm", scaled(1.0, "turn/min"));
    define("deg", scaled(std::numbers::pi / 180.0, "rad"));
    define("\u00b0", scaled(std::numbers::pi / 180.0, "rad"));
  }
  UnitSystem(const UnitSystem&) = delete;
  UnitSystem& operator=(const UnitSystem&) = delete;
  ~UnitSystem() { ut_free_system(system_); }

  /// What one `unit` is in `form`, when they are of one dimension. The library itself would also
  /// take a reciprocal (seconds for hertz); a dimensionless quotient does not.
  std::optional<double> factor(std::string_view unit, const char* form) {
    const std::lock_guard lock(mutex_);
    const Unit from = parse(unit), to = parse(form);
    if (!from || !to) return {};
    const Unit quotient(ut_divide(from.get(), to.get()));
    if (!quotient || ut_is_dimensionless(quotient.get()) == 0) return {};
    const Unit one(ut_get_dimensionless_unit_one(system_));
    cv_converter* converter = ut_get_converter(quotient.get(), one.get());
    if (converter == nullptr) return {};
    const double value = cv_convert_double(converter, 1.0);
    cv_free(converter);
    return value;
  }

  /// A unit whose zero is not the form's, and where its zero lies in the form (degC in K).
  std::optional<double> zero(std::string_view unit, const char* form) {
    const std::lock_guard lock(mutex_);
    const Unit from = parse(unit), to = parse(form);
    if (!from || !to) return {};
    cv_converter* converter = ut_get_converter(from.get(), to.get());
    if (converter == nullptr) return {};
    const double value = cv_convert_double(converter, 0.0);
    cv_free(converter);
    return value;
  }

  bool knows(std::string_view unit) {
    const std::lock_guard lock(mutex_);
    return parse(unit) != nullptr;
  }

 private:
  Unit parse(std::string_view text) const {
    const std::string_view nothing_above = text.substr(0, 1) == "/" ? "1" : "";
    return Unit(ut_parse(system_, fmt::format("{}{}", nothing_above, text).c_str(), UT_UTF8));
  }
  Unit scaled(double factor, const char* meaning) const {
    return Unit(ut_scale(factor, parse(meaning).get()));
  }
  void define(const char* symbol, const Unit& unit) {
    if (ut_map_symbol_to_unit(symbol, UT_UTF8, unit.get()) != UT_SUCCESS)
      throw std::runtime_error(fmt::format("the unit library refuses the symbol {}", symbol));
  }

  ut_system* system_;
  std::mutex mutex_;
};

UnitSystem& unit_system() {
  static UnitSystem system;
  return system;
}

std::string_view trimmed(std::string_view text) {
  while (!text.empty() && std::isspace(static_cast<unsigned char>(text.front())))
    text.remove_prefix(1);
  while (!text.empty() && std::isspace(static_cast<unsigned char>(text.back())))
    text.remove_suffix(1);
  return text;
}

/// The library's grammar also takes times of day, offsets and logarithms: only products and powers
/// of named units pass here.
bool looks_like_unit(std::string_view text) {
  char before = ' ';
  for (const char c : text) {
    const auto byte = static_cast<unsigned char>(c);
    const bool letter = std::isalpha(byte) != 0 || byte >= 0x80 || c == '%';
    const bool power =
        (std::isdigit(byte) != 0 || c == '-') &&
        (before == '^' || std::isalnum(static_cast<unsigned char>(before)) != 0 || before == '-');
    if (!letter && !power && c != ' ' && c != '/' && c != '*' && c != '^' && c != '.') return false;
    before = c;
  }
  return text.size() <= 40;
}

struct Written {
  double number = 0.0;
  std::string_view unit;
  std::string problem;
};

Written split(std::string_view text) {
  text = trimmed(text);
  if (text.empty()) return {0.0, {}, "there is no value"};
  const char* start = text.data();
  const char* const end = text.data() + text.size();
  if (*start == '+' && start + 1 != end && start[1] != '-') ++start;
  Written written;
  const auto [rest, error] = std::from_chars(start, end, written.number);
  if (error == std::errc::invalid_argument)
    written.problem = fmt::format("\"{}\" does not start with a number", text);
  else if (error != std::errc{} || !std::isfinite(written.number))
    written.problem = fmt::format("\"{}\" is not a finite number", text);
  written.unit = trimmed(std::string_view(rest, static_cast<std::size_t>(end - rest)));
  return written;
}

/// Multiplies; a factor that is one over a whole number divides instead, so that 12 mohm is the
/// double nearest to 0.012.
double times(double number, double factor) {
  if (factor != 0.0 && std::abs(factor) < 1.0) {
    const double inverse = std::round(1.0 / factor);
    if (inverse < 1e15 && std::abs(factor * inverse - 1.0) < 1e-15) return number / inverse;
  }
  return number * factor;
}

Conversion ratio_to_si(std::string_view text) {
  const Written written = split(text);
  if (!written.problem.empty()) return {0.0, written.problem};
  if (written.unit.empty()) return {written.number, {}};
  if (written.unit == "%") return {written.number / 100.0, {}};
  if (written.unit.front() == '/') {
    const Written below = split(written.unit.substr(1));
    if (below.problem.empty() && below.unit.empty() && below.number != 0.0)
      return {written.number / below.number, {}};
  }
  return {0.0, fmt::format("\"{}\" is not a plain number; write {}", trimmed(text),
                           info(Family::ratio).examples)};
}

const FamilyInfo* family_of(std::string_view unit) {
  for (const FamilyInfo& candidate : families())
    for (const Form& form : candidate.forms)
      if (unit_system().factor(unit, form.unit)) return &candidate;
  return nullptr;
}

/// Only a temperature can count from another zero than its SI unit; in products ("%/degC") the
/// library takes such a unit as a difference.
double zero_of(std::string_view unit, const Form& form) {
  return form.unit == std::string_view("K") ? unit_system().zero(unit, form.unit).value_or(0.0)
                                            : 0.0;
}

Conversion convert(std::string_view text, std::span<const Form> forms, std::string_view due,
                   std::string_view examples) {
  const Written written = split(text);
  if (!written.problem.empty())
    return {0.0, fmt::format("{}; {} is due, for example in {}", written.problem, due, examples)};
  if (written.unit.empty())
    return {0.0, fmt::format("\"{}\" has no unit; {} is due, in {}", trimmed(text), due, examples)};
  if (!looks_like_unit(written.unit) || !unit_system().knows(written.unit))
    return {0.0, fmt::format("\"{}\" has the unknown unit \"{}\"; {} is due, in {}", trimmed(text),
                             written.unit, due, examples)};
  for (const Form& form : forms)
    if (const auto factor = unit_system().factor(written.unit, form.unit)) {
      const double si =
          (times(written.number, *factor) + zero_of(written.unit, form)) * form.factor;
      if (std::isfinite(si)) return {si, {}};
    }
  const FamilyInfo* found = family_of(written.unit);
  return {0.0, fmt::format("\"{}\" is {}; {} is due, in {}", trimmed(text),
                           found != nullptr ? found->name : "of another dimension", due, examples)};
}

}  // namespace

std::string_view name(Family family) noexcept { return info(family).name; }
std::string_view si_unit(Family family) noexcept { return info(family).si; }
std::string_view examples(Family family) noexcept { return info(family).examples; }

Conversion to_si(std::string_view text, Family family) {
  if (family == Family::ratio) return ratio_to_si(text);
  const FamilyInfo& due = info(family);
  return convert(text, due.forms, due.name, due.examples);
}

Conversion to_unit(std::string_view text, std::string_view unit) {
  for (const FamilyInfo& family : families())
    if (family.si == unit) return to_si(text, family.family);
  if (unit == "1") return ratio_to_si(text);
  const std::string target(unit);
  const Form form{target.c_str(), 1.0};
  return convert(text, std::span(&form, 1), "a value", unit);
}

Conversion to_any(std::string_view text, std::string& unit) {
  const Written written = split(text);
  const FamilyInfo* family =
      written.problem.empty() && looks_like_unit(written.unit) ? family_of(written.unit) : nullptr;
  unit = family != nullptr ? family->si : "";
  return to_si(text, family != nullptr ? family->family : Family::ratio);
}

std::string from_si(double value, Family family) {
  const std::string_view unit = si_unit(family);
  return unit.empty() ? fmt::format("{}", value) : fmt::format("{} {}", value, unit);
}

std::string shown_si(double value, Family family) {
  const std::string_view unit = si_unit(family);
  return unit.empty() ? fmt::format("{:.10g}", value) : fmt::format("{:.10g} {}", value, unit);
}

}  // namespace stillrotor
