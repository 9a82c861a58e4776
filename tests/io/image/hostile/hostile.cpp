// Debug information that wants to bring the program down: stillrotor_image_hostile ELF ROUNDS SEED.
// Each round some bits of one or more of the file's debug sections are turned, or bytes replaced,
// or the file is cut off. It is read, with types or with the reason why not; what comes out refers
// to nothing that is not there. Prints what it did; 0: everything was answered.
#include <fmt/core.h>

#include <cstdlib>
#include <fstream>
#include <iterator>
#include <random>
#include <stdexcept>

#include "io/connector.hpp"
#include "io/mcu/image/variables.hpp"

namespace stillrotor::io::mcu {
namespace {

const ElfTarget target{EM_ARM, "Arm", "arm-none-eabi-gcc"};
constexpr std::uint64_t ram = 0x20000000, ram_bytes = 0x20000;

bool in_ram(std::uint64_t address, std::uint64_t bytes) {
  return address >= ram && address < ram + ram_bytes && bytes <= ram + ram_bytes - address;
}

struct Range {
  std::size_t begin, bytes;
};
std::vector<Range> debug_sections(const std::string& bytes) {
  const ElfFile file(bytes, target, "whole.elf");
  const auto names = file.section(file.header().e_shstrndx);
  std::vector<Range> found;
  for (unsigned i = 0; i < file.header().e_shnum; ++i) {
    const auto one = file.section(i);
    const auto name = file.text_at(std::uint64_t{names->sh_offset} + one->sh_name);
    if (name.starts_with(".debug_info") || name.starts_with(".debug_abbrev") ||
        name.starts_with(".debug_str"))
      found.push_back({one->sh_offset, one->sh_size});
  }
  return found;
}

[[noreturn]] void fail(unsigned round, const std::string& what) {
  fmt::print("round {}: {}\n", round, what);
  std::exit(1);
}

std::string damaged(std::string bytes, const std::vector<Range>& sections, std::mt19937& dice) {
  for (auto k = 1 + dice() % (dice() % 4 == 0 ? 64 : 4); k != 0; --k) {
    const Range& one = sections[dice() % sections.size()];
    char& byte = bytes[one.begin + dice() % one.bytes];
    byte = static_cast<char>(dice() % 2 == 0 ? byte ^ 1 << dice() % 8 : dice());
  }
  if (dice() % 16 == 0) bytes.resize(dice() % bytes.size());
  return bytes;
}

void check(const Variables& v, unsigned round) {
  const auto is_type = [&](TypeIndex index) { return index < v.types.size(); };
  for (const Variable& one : v.all) {
    if (!in_ram(one.address, one.bytes)) fail(round, one.name + " lies outside the RAM");
    if (one.type && !is_type(*one.type)) fail(round, one.name + " has a type that is not there");
  }
  for (const ValueType& type : v.types) {
    if (!is_type(type.element)) fail(round, "elements of a type that is not there");
    for (const Member& m : type.members)
      if (!is_type(m.type) || m.bit > 7 || m.bit + m.bits > 64)
        fail(round, m.name + " is no member that could be read");
  }
}

}  // namespace
}  // namespace stillrotor::io::mcu

int main(int argc, char** argv) {
  using namespace stillrotor::io;
  if (argc != 4) {
    fmt::print("stillrotor_image_hostile ELF ROUNDS SEED\n");
    return 2;
  }
  std::ifstream file(argv[1], std::ios::binary);
  const std::string whole{std::istreambuf_iterator<char>(file), {}};
  const auto sections = mcu::debug_sections(whole);
  std::mt19937 dice(static_cast<unsigned>(std::atoi(argv[3])));
  unsigned typed = 0, untyped = 0, refused = 0;
  for (unsigned round = 0; round < static_cast<unsigned>(std::atoi(argv[2])); ++round) {
    try {
      const auto found = mcu::variables_of(mcu::damaged(whole, sections, dice), mcu::target,
                                           "damaged.elf", mcu::in_ram);
      mcu::check(found, round);
      if (!found.untyped.empty() && !found.types.empty())
        mcu::fail(round, "types beside a reason why there are none");
      ++(found.untyped.empty() ? typed : untyped);
    } catch (const ConfigError& error) {
      if (std::string(error.what()).find("damaged.elf") == std::string::npos)
        mcu::fail(round, fmt::format("no file in \"{}\"", error.what()));
      ++refused;
    }
  }
  fmt::print("{} read with types, {} without, {} refused\n", typed, untyped, refused);
  return typed != 0 && untyped != 0 ? 0 : 1;
}
