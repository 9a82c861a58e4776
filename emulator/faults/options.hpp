// Options that several faults share.
#pragma once

#include <array>

#include "emulator/bench/bench.hpp"
#include "emulator/faults/fault.hpp"
#include "emulator/faults/fault_site.hpp"

namespace stillrotor {

inline constexpr std::array<std::string_view, 3> leg_words{"U", "V", "W"};
inline constexpr std::array<std::string_view, 2> level_words{"low", "high"};

/// Which of three: a phase, its gates, its Hall, its current sensor.
inline constexpr FaultOption which_leg{
    .name = "line", .words = leg_words, .allowed = "U, V, W", .example = "U", .which = true};
inline constexpr FaultOption to_level{
    .name = "level", .words = level_words, .allowed = "low, high", .example = "high"};

inline io::LineId hall_line(std::size_t leg) noexcept {
  return io::LineId{static_cast<std::uint16_t>(io::index(io::line::hall_U) + leg)};
}
inline plant::Leg leg_of(std::size_t word) noexcept { return static_cast<plant::Leg>(word); }

/// For faults of one Hall line, named by option 0.
inline bool hall_is_wired(const Bench& bench, const FaultSettings& settings) {
  return bench.harness.lines[io::index(hall_line(settings.word(0)))].connected;
}
inline constexpr std::string_view hall_needs = "Halls", hall_where = "sensors.hall, harness.hall";

}  // namespace stillrotor
