// What stamps' errors cost in phase current, as a table: stillrotor_stamp_errors
#include <fmt/core.h>

#include <string_view>
#include <utility>

#include "tests/emulator/rehearsal/stamp_errors.hpp"

int main() {
  using namespace stillrotor::test;
  using Kind = StampError::Kind;
  constexpr std::pair<std::string_view, StampError> rows[] = {
      {"quantised to 20 ns", {Kind::quantised, 20e-9}},
      {"quantised to 100 ns", {Kind::quantised, 100e-9}},
      {"gates sampled every 1 us", {Kind::sampled, 1e-6}},
      {"every 5 us", {Kind::sampled, 5e-6}},
      {"0.1 us rms jitter", {Kind::jittered, 0.1e-6}},
      {"1 us rms jitter", {Kind::jittered, 1e-6}},
      {"3 us rms jitter", {Kind::jittered, 3e-6}}};
  fmt::print("| stamps | A | B |\n| --- | --- | --- |\n");
  for (const auto& [name, error] : rows)
    fmt::print(
        "| {} | {:.2g} / {:.2g} | {:.2g} / {:.2g} |\n", name,
        StampErrors::percent(error, point_A, false), StampErrors::percent(error, point_A, true),
        StampErrors::percent(error, point_B, false), StampErrors::percent(error, point_B, true));
}
