// Files and programs that want to bring the simulator down: stillrotor_cortexm_hostile ELF ROUNDS
// SEED. Each round, from the given firmware: a file with damaged headers (read or refused with a
// sentence), a program with damaged code (ends with a sentence, or runs to its time), and stores
// and loads at every peripheral of the part. Prints what it did; 0: everything was answered.
#include <fmt/core.h>

#include <cstdlib>
#include <fstream>
#include <iterator>
#include <random>

#include "tests/io/cortexm/bare_chip.hpp"

namespace stillrotor::io::cortexm {
namespace {

using namespace std::chrono_literals;

struct Answered {
  unsigned read = 0, refused = 0, ended = 0, ran = 0;
  std::uint64_t accesses = 0;
};
[[noreturn]] void fail(unsigned round, const std::string& what) {
  fmt::print("round {}: {}\n", round, what);
  std::exit(1);
}

/// Some bytes of the headers or the tables anywhere; at times it is cut off.
std::string damaged_file(std::string file, std::mt19937& dice) {
  const std::size_t first = dice() % 4 != 0 ? 52 + 5 * 32 : file.size();
  for (unsigned i = 1 + dice() % 8; i != 0; --i)
    file[dice() % std::min(first, file.size())] = static_cast<char>(dice());
  if (dice() % 8 == 0) file.resize(dice() % file.size());
  return file;
}

void read_damaged(const std::string& file, std::mt19937& dice, unsigned round, Answered& count) {
  const Memories& memories = find_chip("stm32f405")->memories;
  try {
    const Program program = read_program(damaged_file(file, dice), memories, "damaged.elf");
    if (program.flash.size() > memories.flash_bytes) fail(round, "a program beyond the flash");
    ++count.read;
  } catch (const ConfigError& e) {
    if (std::string(e.what()).find("damaged.elf") == std::string::npos)
      fail(round, fmt::format("no file in \"{}\"", e.what()));
    ++count.refused;
  }
}

void run_damaged(Program program, std::mt19937& dice, unsigned round, Answered& count) {
  for (auto i = 1 + dice() % (dice() % 2 ? 64 : 4096); i != 0; --i)
    program.flash[dice() % program.flash.size()] = static_cast<std::uint8_t>(dice());
  ChipOutside nobody;
  Chip chip(*find_chip("stm32f405"), std::move(program), 8'000'000, nobody);
  constexpr Time lasts = 12ms;
  chip.run(lasts);
  if (chip.core().can_go_on() ? chip.now() < lasts : chip.core().end().empty())
    fail(round, "neither at its time nor ended with a sentence");
  ++(chip.core().can_go_on() ? count.ran : count.ended);
  (void)chip.coverage();
}

/// Registers one by one, with all bits of RCC's enables in random states.
void touch_everything(std::mt19937& dice, Answered& count) {
  BareChip b;
  const ChipPart& part = *find_chip("stm32f405");
  std::vector<std::pair<Word, Word>> blocks{
      {0xE000E000, 0x1000}, {0xE0001000, 0x100}, {part.external_lines, 0x40}};
  for (const ClockRow& row : part.clocks) blocks.emplace_back(row.base, 0x400);
  for (const KeptBlock& k : part.kept) blocks.emplace_back(k.base, std::min<Word>(k.bytes, 0x1000));
  for (const Word base :
       {part.clock_tree, part.flash_controller, part.watchdog, part.option_bytes, part.identity})
    blocks.emplace_back(base, 0x100);
  std::shuffle(blocks.begin(), blocks.end(), dice);
  for (const auto& [base, bytes] : blocks) {
    b.clock_everything();
    for (Word offset = 0; offset < bytes; offset += 4) {
      const unsigned size = 1u << (dice() % 3);
      const Word address = base + offset + (static_cast<Word>(dice()) & 3 & ~(size - 1));
      b.set(address, static_cast<Word>(dice() >> (dice() % 32)), size);
      b.get(address, size);
      count.accesses += 2;
    }
    b.run(20us);
    if (!b.chip.core().can_go_on()) b.chip.core().power_on();
  }
}

}  // namespace
}  // namespace stillrotor::io::cortexm

int main(int argc, char** argv) {
  using namespace stillrotor::io::cortexm;
  if (argc != 4) {
    fmt::print("stillrotor_cortexm_hostile ELF ROUNDS SEED\n");
    return 2;
  }
  std::ifstream stream(argv[1], std::ios::binary);
  const std::string file{std::istreambuf_iterator<char>(stream), {}};
  const Program program = read_program(file, find_chip("stm32f405")->memories, argv[1]);
  std::mt19937 dice(static_cast<unsigned>(std::atoi(argv[3])));
  Answered count;
  const auto rounds = static_cast<unsigned>(std::atoi(argv[2]));
  for (unsigned round = 0; round < rounds; ++round) {
    for (int i = 0; i < 20; ++i) read_damaged(file, dice, round, count);
    run_damaged(program, dice, round, count);
    if (round % 8 == 0) touch_everything(dice, count);
  }
  fmt::print(
      "{} damaged files: {} read, {} refused. {} damaged programs: {} ended, {} ran. {} "
      "accesses.\n",
      count.read + count.refused, count.read, count.refused, count.ended + count.ran, count.ended,
      count.ran, count.accesses);
  return count.refused > 0 && count.ended + count.ran == rounds ? 0 : 1;
}
