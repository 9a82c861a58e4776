// Options that several faults share.
#pragma once

#include <algorithm>
#include <array>
#include <initializer_list>

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

inline constexpr std::array<std::string_view, 6> gate_words{"UH", "UL", "VH", "VL", "WH", "WL"};
inline constexpr FaultOption which_gate{.name = "gate",
                                        .words = gate_words,
                                        .allowed = "UH, UL, VH, VL, WH, WL",
                                        .example = "UH",
                                        .which = true};
inline constexpr std::array<std::string_view, 3> pair_words{"UV", "VW", "WU"};
/// Which two of three change places; one pair at a time.
inline constexpr FaultOption which_pair{
    .name = "lines", .words = pair_words, .allowed = "UV, VW, WU", .example = "UV"};

inline io::LineId gate_line(std::size_t gate) noexcept {
  return io::LineId{static_cast<std::uint16_t>(gate)};
}
inline io::LineId hall_line(std::size_t leg) noexcept {
  return io::LineId{static_cast<std::uint16_t>(io::index(io::line::hall_U) + leg)};
}
inline plant::Switch switch_of(std::size_t word) noexcept {
  return static_cast<plant::Switch>(word);
}
inline plant::Leg leg_of(std::size_t word) noexcept { return static_cast<plant::Leg>(word); }

/// Changes fields of a wire's fault.
template <class Change>
void change(FaultSite& site, io::LineId line, const Change& apply) noexcept {
  LineFault fault = site.line(line);
  apply(fault);
  site.set_line(line, fault);
}

/// The moment that comes that much after the present [ps].
inline std::int64_t in_s(const FaultSite& site, double wait_s) noexcept {
  return site.now_ps() + static_cast<std::int64_t>(wait_s * 1e12 + 0.5);
}

/// A timing co-processor drives the wires that are too fast for a cycle itself: gates, Halls,
/// encoder, currents. What breaks there is behind this program's back.
inline bool wires_start_here(const Bench& bench) { return bench.backend != "link"; }

inline bool are_connected(const Bench& bench, std::initializer_list<io::LineId> lines) {
  return std::all_of(lines.begin(), lines.end(), [&](io::LineId line) {
    return bench.harness.lines[io::index(line)].connected;
  });
}

/// For faults of one gate's wire, named by option 0.
inline bool gate_is_wired(const Bench& bench, const FaultSettings& settings) {
  return are_connected(bench, {gate_line(settings.word(0))}) && wires_start_here(bench);
}
inline constexpr std::string_view gate_needs = "this gate's wire, ending here",
                                  gate_where = "harness.gates, controller.backend";

/// For faults of all Halls.
inline bool halls_are_wired(const Bench& bench, const FaultSettings&) {
  return are_connected(bench, {hall_line(0), hall_line(1), hall_line(2)}) &&
         wires_start_here(bench);
}
/// For faults of one Hall line, named by option 0.
inline bool hall_is_wired(const Bench& bench, const FaultSettings& settings) {
  return are_connected(bench, {hall_line(settings.word(0))}) && wires_start_here(bench);
}
inline constexpr std::string_view hall_needs = "Halls, wired from here",
                                  hall_where = "sensors.hall, harness.hall, controller.backend";

inline constexpr std::array<std::string_view, 3> encoder_words{"A", "B", "Z"};
inline constexpr FaultOption which_encoder_line{
    .name = "line", .words = encoder_words, .allowed = "A, B, Z", .example = "A", .which = true};
inline io::LineId encoder_line(std::size_t word) noexcept {
  return io::LineId{static_cast<std::uint16_t>(io::index(io::line::encoder_A) + word)};
}
/// For faults of the encoder that show in A and B.
inline bool encoder_is_wired(const Bench& bench, const FaultSettings&) {
  return bench.drive.encoder.fitted && are_connected(bench, {encoder_line(0), encoder_line(1)}) &&
         wires_start_here(bench);
}
inline constexpr std::string_view encoder_needs = "an encoder, wired from here",
                                  encoder_where =
                                      "sensors.encoder, harness.encoder, controller.backend";

}  // namespace stillrotor
