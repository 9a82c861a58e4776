// Short forms for the rows of the parameter table; included by its sections only.
#pragma once

#include <string>
#include <utility>

#include "emulator/bench/parameter.hpp"

namespace stillrotor::rows {

/// The accessor of a draft's member: AT(bench.name).
#define AT(member) \
  [](Draft & d) -> auto& { return d.member; }

// Needs, to be read as part of a row: real(..., by_default("0.8 V"), "knee of the diodes").
struct Wanted {
  Need need;
  std::string fallback;
};
inline const Wanted required{Need::required, {}};
inline const Wanted optional{Need::optional, {}};
inline Wanted by_default(std::string text) { return {Need::defaulted, std::move(text)}; }
inline Wanted follows(std::string from_what) { return {Need::derived, std::move(from_what)}; }

struct Range {
  std::string least, most;
  bool least_excluded = false;
};
inline Range above(std::string least, std::string most) {
  return {std::move(least), std::move(most), true};
}
inline Range between(std::string least, std::string most) {
  return {std::move(least), std::move(most), false};
}

inline Parameter row(std::string path, Binding binding, Wanted wanted, std::string text,
                     unsigned roles) {
  return {std::move(path), std::move(binding),
          wanted.need,     std::move(wanted.fallback),
          std::move(text), roles};
}
inline Parameter real(std::string path, Access<double> at, Family family, Range range,
                      Wanted wanted, std::string text, unsigned roles = role::any) {
  return row(std::move(path),
             Real{std::move(at), family, std::move(range.least), std::move(range.most),
                  range.least_excluded},
             std::move(wanted), std::move(text), roles);
}
inline Parameter whole(std::string path, Access<int> at, int least, int most, Wanted wanted,
                       std::string text, unsigned roles = role::any) {
  return row(std::move(path), Whole{std::move(at), least, most}, std::move(wanted), std::move(text),
             roles);
}
inline Parameter on_off(std::string path, Access<bool> at, Wanted wanted, std::string text,
                        unsigned roles = role::any) {
  return row(std::move(path), Switched{std::move(at)}, std::move(wanted), std::move(text), roles);
}
inline Parameter choice(std::string path, Access<int> at, std::vector<std::string> words,
                        Wanted wanted, std::string text, unsigned roles = role::any) {
  return row(std::move(path), Choice{std::move(at), std::move(words)}, std::move(wanted),
             std::move(text), roles);
}
inline Parameter text(std::string path, Access<std::string> at, std::string form, Wanted wanted,
                      std::string meaning, unsigned roles = role::any) {
  return row(std::move(path), Text{std::move(at), std::move(form)}, std::move(wanted),
             std::move(meaning), roles);
}

}  // namespace stillrotor::rows
