// What one row of the parameter table says, and how a text becomes its value.
#pragma once

#include <functional>
#include <span>
#include <string>
#include <string_view>
#include <variant>
#include <vector>

#include "emulator/bench/draft.hpp"
#include "emulator/bench/problems.hpp"
#include "emulator/bench/units.hpp"

namespace stillrotor {

/// Who has use for a parameter: bits of the controllers and machines that a bench can have. A row
/// that names none of one sort fits all of that sort.
namespace role {
inline constexpr unsigned mcu = 1, six_step = 2, field_oriented = 4, capture = 8,
                          volts_per_hertz = 16;
inline constexpr unsigned sine = field_oriented | volts_per_hertz;
inline constexpr unsigned standin = six_step | sine;
inline constexpr unsigned permanent_magnet = 32, induction = 64;
inline constexpr unsigned gpiod = 128, polled = 256, link = 1024;
inline constexpr unsigned lines = gpiod | polled;  // the bench's own
inline constexpr unsigned wired = lines | link;
inline constexpr unsigned wall = standin | wired;  // can stand at the cycle's wires
inline constexpr unsigned hostfw = 512;
inline constexpr unsigned any = mcu | hostfw | standin | capture | wired;
inline constexpr unsigned machine = permanent_magnet | induction;
constexpr bool fits(unsigned roles, unsigned here) noexcept {
  return ((roles & any) == 0 || (roles & any & here) != 0) &&
         ((roles & machine) == 0 || (roles & machine & here) != 0);
}
}  // namespace role
/// "mcu", "standin six_step", ...
std::string role_names(unsigned roles);

enum class Need : unsigned char {
  required,   // the file must say it
  defaulted,  // the table's text where the file is silent
  derived,    // follows from other parameters where the file is silent
  optional    // absent is a value of its own
};

template <class T>
using Access = std::function<T&(Draft&)>;

struct Whole {  // a count
  Access<int> at;
  int least, most;
};
struct Real {
  Access<double> at;
  Family family;
  std::string least, most;  // as people write them; parsed once
  bool least_excluded;
};
struct Switched {  // on, off
  Access<bool> at;
};
struct Choice {  // the index of one of the words
  Access<int> at;
  std::vector<std::string> words;
};
struct Text {
  Access<std::string> at;
  std::string form;  // "a path", "a pin"
};
using Binding = std::variant<Whole, Real, Switched, Choice, Text>;

struct Parameter {
  std::string path;  // machine.winding_resistance
  Binding binding;
  Need need = Need::defaulted;
  std::string fallback;  // the default's text; for derived ones what it follows from
  std::string text;      // what it is; ends messages about it
  unsigned roles = role::any;
};

/// Reads `written` into the draft. Empty when it worked; else what is wrong and what is allowed.
std::string read_value(const Parameter&, std::string_view written, Draft&);
/// The draft's value in SI, exact: reads back to the same.
std::string exact_value(const Parameter&, Draft&);
/// The same for people.
std::string shown_value(const Parameter&, Draft&);
/// "above 0 ohm, up to 10 ohm"; "sine, trapezoid or harmonics"
std::string allowed(const Parameter&);
/// "ohm", "count", "on/off", "word", "text"
std::string unit_word(const Parameter&);

/// "on", "true" -> true; "off", "false" -> false.
bool read_switch(std::string_view written, bool& value) noexcept;

}  // namespace stillrotor
