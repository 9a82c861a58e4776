// One number over a run: stillrotor_cortexm_state_sum ELF MILLISECONDS [interpreted]. Our
// field-oriented firmware on a chip whose rotor stands still and whose currents move by whole
// numbers; every edge that leaves it with its time, then registers, floats and RAM. The same
// program must print the same number however it was compiled, and whether its instructions are
// translated or interpreted.
#include <fmt/core.h>

#include <cstdlib>

#include "tests/io/cortexm/outside.hpp"

namespace stillrotor::io::cortexm {
namespace {

/// FNV-1a, 64 bits.
struct Sum {
  std::uint64_t value = 0xcbf29ce484222325;
  void add(std::uint64_t word) {
    for (int i = 0; i < 8; ++i) value = (value ^ (word >> 8 * i & 0xff)) * 0x100000001b3;
  }
};

}  // namespace
}  // namespace stillrotor::io::cortexm

int main(int argc, char** argv) {
  using namespace stillrotor::io;
  using namespace stillrotor::io::cortexm;
  if (argc != 3 && argc != 4) {
    fmt::print("stillrotor_cortexm_state_sum ELF MILLISECONDS [interpreted]\n");
    return 2;
  }
  const ChipPart& part = *find_chip("stm32f405");
  Sum sum;
  std::uint64_t edges = 0, texts = 0;
  const Time lasts = std::chrono::milliseconds(std::atoi(argv[2]));
  Outside outside({[&](Time at, std::string_view text) {
                     sum.add(static_cast<std::uint64_t>(at.count()));
                     for (const char c : text) sum.add(static_cast<unsigned char>(c));
                     ++texts;
                   },
                   [&](PinId pin, Level level, Time at) {
                     sum.add(static_cast<std::uint64_t>(at.count()));
                     sum.add(std::uint64_t{pin.port} << 16 | std::uint64_t{pin.number} << 8 |
                             static_cast<std::uint64_t>(level));
                     ++edges;
                   },
                   [](PinId pin, Time at) {
                     // Throttle, bus and three currents, in steps of a 4096th; exact in any order.
                     const auto us = at.count() / 1'000'000;
                     if (pin == PinId{2, 0})
                       return static_cast<double>(us < 30'000 ? 700 : 1600) / 4096;
                     if (pin == PinId{2, 1}) return 2360.0 / 4096;
                     return static_cast<double>(2048 + (us * 7 + pin.number * 331) % 97 - 48) /
                            4096;
                   }});
  Chip chip(part, load_program(argv[1], part.memories), 8'000'000, outside);
  if (argc == 4) chip.core().translate(false);
  chip.set_input({1, 0}, Level::high);   // key
  chip.set_input({1, 12}, Level::high);  // no fault
  chip.set_input({2, 6}, Level::high);   // one Hall of three
  for (const PinId other : {PinId{2, 7}, PinId{2, 8}}) chip.set_input(other, Level::low);
  chip.run(lasts);
  Cpu& cpu = chip.core().cpu();
  for (const Word r : cpu.r) sum.add(r);
  for (const Word s : cpu.s) sum.add(s);
  sum.add(cpu.cycle);
  sum.add(chip.core().exceptions().taken);
  const Memories& m = part.memories;
  for (Word at = 0; at < m.sram_bytes; ++at) sum.add(*chip.core().bus().memory(m.sram_base + at));
  fmt::print("{:016x} over {} edges, {} texts, {} exceptions\n", sum.value, edges, texts,
             chip.core().exceptions().taken);
  return edges > 100 && chip.core().can_go_on() ? 0 : 1;
}
