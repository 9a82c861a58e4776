// A firmware on two chips, translated and interpreted, in steps of random length:
//
//   stillrotor_cortexm_lockstep ELF MILLISECONDS SEED
//
// After each step all registers have to be equal, now and then the memories, at the end the edges,
// the texts and their times. 0: they are. The world outside is of whole numbers, as in state_sum.
#include <cstdlib>
#include <random>
#include <vector>

#include "tests/io/cortexm/lockstep/lockstep.hpp"
#include "tests/io/cortexm/outside.hpp"

namespace stillrotor::io::cortexm {
namespace {

struct Told {
  std::int64_t at;
  std::string what;
  bool operator==(const Told&) const = default;
};

struct Side {
  Side(const Program& program, bool translated)
      : outside({[this](Time at, std::string_view text) {
                   told.push_back({at.count(), std::string(text)});
                 },
                 [this](PinId pin, Level level, Time at) {
                   told.push_back({at.count(), fmt::format("{}.{} {}", pin.port, pin.number,
                                                           static_cast<int>(level))});
                 },
                 [](PinId pin, Time at) {
                   const auto us = at.count() / 1'000'000;
                   if (pin == PinId{2, 0})
                     return static_cast<double>(us < 30'000 ? 700 : 1600) / 4096;
                   if (pin == PinId{2, 1}) return 2360.0 / 4096;
                   return static_cast<double>(2048 + (us * 7 + pin.number * 331) % 97 - 48) / 4096;
                 }}),
        chip(*find_chip("stm32f405"), program, 8'000'000, outside) {
    chip.core().translate(translated);
    if (Translation* const t = chip.core().cpu().translation()) t->set_patience(early);
    chip.set_input({1, 0}, Level::high);
    chip.set_input({1, 12}, Level::high);
    chip.set_input({2, 6}, Level::high);
    for (const PinId other : {PinId{2, 7}, PinId{2, 8}}) chip.set_input(other, Level::low);
  }
  std::vector<Told> told;
  Outside outside;
  Chip chip;
};

int run(const char* elf, int milliseconds, unsigned seed) {
  const Program program = load_program(elf, find_chip("stm32f405")->memories);
  Side one(program, true), other(program, false);
  std::mt19937 dice(seed);
  const Time lasts = std::chrono::milliseconds(milliseconds);
  std::uint64_t steps = 0;
  Time at{};
  while (at < lasts) {
    // Some instruction by instruction, most through many units.
    at += Time{1 + dice() % (dice() % 8 == 0 ? 20'000 : dice() % 4 == 0 ? 400'000 : 10'000'000)};
    one.chip.run(at);
    other.chip.run(at);
    std::string said = difference(one.chip.core(), other.chip.core());
    if (said.empty() && ++steps % 1024 == 0)
      said = difference_of_memory(one.chip.core(), other.chip.core());
    if (said.empty()) continue;
    fmt::print("After {} steps, at {:.9f} s:\n{}", steps, static_cast<double>(at.count()) / 1e12,
               said);
    return 1;
  }
  if (one.told != other.told || !difference_of_memory(one.chip.core(), other.chip.core()).empty()) {
    fmt::print("What they told differs, or their memories.\n");
    return 1;
  }
  const Translation* const translation = one.chip.core().cpu().translation();
  if (translation == nullptr) {
    fmt::print("SKIPPED: nothing is translated in this build or on this host.\n");
    return 0;
  }
  const Translation::Count& count = translation->count();
  fmt::print(
      "Equal after {} steps; {} told. {} units, entered {} times, {} instructions interpreted, "
      "dropped {} times.\n",
      steps, one.told.size(), count.units, count.entered, count.alone, count.dropped);
  return count.entered > 0 ? 0 : 1;
}

}  // namespace
}  // namespace stillrotor::io::cortexm

int main(int argc, char** argv) {
  if (argc != 4) {
    fmt::print("stillrotor_cortexm_lockstep ELF MILLISECONDS SEED\n");
    return 2;
  }
  return stillrotor::io::cortexm::run(argv[1], std::atoi(argv[2]),
                                      static_cast<unsigned>(std::atoi(argv[3])));
}
