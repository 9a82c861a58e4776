#include "tests/io/link/support/board.hpp"

#include "io/link/coprocessor/hooks.h"

namespace stillrotor::io {
namespace {
Board* board = nullptr;
}

Board::Board(std::uint16_t session, std::uint32_t at) : counter(at) {
  board = this;
  const lf_hello hello{0, 0, 0, tick_Hz, 40'000, 12'000, CP_CHANNELS, 0x7f, 0};
  lf_chip_start(&chip, &hello, session, tick_Hz / 1000);
}

void Board::reset(std::uint16_t session) {
  counter = 0;
  edges.clear();
  const lf_hello hello = chip.hello;
  lf_chip_start(&chip, &hello, session, tick_Hz / 1000);
}

void Board::hear(std::span<const std::uint8_t> bytes, std::uint32_t tick) {
  board = this;
  counter = tick;
  in.insert(in.end(), bytes.begin(), bytes.end());
  lf_chip_serve(&chip);
}

void Board::step_until(std::uint32_t tick) {
  board = this;
  counter = tick;
  if (chip.in_force != 0) cp_step(&chip.core);
  lf_chip_serve(&chip);
}

LinkSettings board_settings() {
  using namespace coprocessor;
  LinkSettings settings;
  Machine machine;
  machine.winding_resistance_ohm = 25e-3;
  machine.inductance_q_H = 250e-6;
  machine.flux_linkage_Wb = 25e-3;
  Format format;
  format.tick_s = 1.0 / Board::tick_Hz;
  format.step_ticks = Board::step_ticks;
  // A source that even a link emptied by shorted legs, as these tests' gates are, asks for no more
  // current than the numbers hold.
  settings.plant = plant_parameters(machine, {3e-3, 0.8, 3e-3}, {3.3e-3, 6e-3, 72.0, 0.3}, format);
  const Scale& s = settings.plant.scale;
  Timing timing;
  timing.behind_s = 10e-3;
  AngleOutputs outputs;
  outputs.encoder_lines = 256;
  const cp_angle_parameters angle = angle_parameters(outputs, machine.pole_pairs, s);
  settings.parameters = core_parameters(
      settings.plant, timing, angle, track_parameters(angle, s, 1e-4, 10.0),
      trip_parameters(CP_TRIP_LINK, 150.0, 1e-6, settings.plant), {sense_channel({}, s)});
  return settings;
}

}  // namespace stillrotor::io

using stillrotor::io::board;

std::uint32_t cp_port_ticks() { return board->counter; }
std::uint32_t cp_port_lost_edges() { return board->lost_edges; }
std::uint32_t cp_port_next_edge(cp_gate_edge* out) {
  auto& edges = board->edges;
  if (edges.empty() || static_cast<std::int32_t>(board->counter - edges.front().at) < 0) return 0;
  *out = edges.front();
  edges.pop_front();
  return 1;
}
void cp_port_line(std::uint32_t, std::uint32_t, std::uint32_t) {}
void cp_port_code(std::uint32_t, std::uint32_t) {}
void cp_port_release_lines() { board->driven = false; }
void cp_port_drive_lines(std::uint32_t) {
  board->driven = true;
  ++board->drives;
}
std::uint32_t cp_port_byte_in(std::uint8_t* byte) {
  if (board->in.empty()) return 0;
  *byte = board->in.front();
  board->in.pop_front();
  return 1;
}
std::uint32_t cp_port_byte_out(std::uint8_t byte) {
  if (board->out.size() >= board->room) return 0;
  board->out.push_back(byte);
  return 1;
}
