#include "io/mcu/cortexm/program.hpp"

#include <fmt/core.h>

#include <fstream>
#include <iterator>

#include "io/connector.hpp"

namespace stillrotor::io::cortexm {
namespace {

bool lies_in(std::uint64_t address, std::uint64_t bytes, Word base, Word size) noexcept {
  return address >= base && address + bytes <= std::uint64_t{base} + size;
}

/// Two that load to the same bytes: which of them the flash would hold, nobody says.
void refuse_overlaps(const mcu::ElfFile& file, const std::vector<mcu::Segment>& segments) {
  const auto described = [&](std::size_t i) {
    return fmt::format("segment {} (0x{:08x} to 0x{:08x})", i, segments[i].physical_address,
                       segments[i].physical_address + segments[i].content.size() - 1);
  };
  for (std::size_t i = 0; i < segments.size(); ++i)
    for (std::size_t k = 0; k < i; ++k)
      if (segments[i].physical_address <
              segments[k].physical_address + segments[k].content.size() &&
          segments[k].physical_address < segments[i].physical_address + segments[i].content.size())
        file.refuse(fmt::format("loads {} over {}", described(i), described(k)),
                    "Check the linker script's load addresses (AT>); segments count from 0, of "
                    "those that have content.");
}

/// Initialised data is stored in flash: the physical address counts, the virtual one must exist.
void place(const mcu::ElfFile& file, const mcu::Segment& s, const Memories& m, Program& program) {
  const std::uint64_t size = s.content.size();
  if (lies_in(s.physical_address, size, m.sram_base, m.sram_bytes))
    file.refuse("loads straight into RAM", "Link it for flash (a load address there).");
  if (!lies_in(s.physical_address, size, m.flash_base, m.flash_bytes))
    file.refuse(
        fmt::format("loads {} bytes at 0x{:08x}; the part's flash is 0x{:08x} to 0x{:08x}", size,
                    s.physical_address, m.flash_base, m.flash_base + m.flash_bytes - 1),
        "Check the linker script's memory regions.");
  if (!lies_in(s.virtual_address, s.memory_bytes, m.flash_base, m.flash_bytes) &&
      !lies_in(s.virtual_address, s.memory_bytes, m.sram_base, m.sram_bytes) &&
      !lies_in(s.virtual_address, s.memory_bytes, m.ccm_base, m.ccm_bytes))
    file.refuse(fmt::format("uses {} bytes at 0x{:08x}, where the part has no memory",
                            s.memory_bytes, s.virtual_address),
                "Check the linker script's memory regions.");
  const std::size_t begin = s.physical_address - m.flash_base;
  if (program.flash.size() < begin + size) program.flash.resize(begin + size, 0xff);
  std::copy(s.content.begin(), s.content.end(), program.flash.begin() + begin);
}

void check_vectors(const mcu::ElfFile& file, const Memories& m, const Program& program) {
  Word stack = 0, start = 0;
  if (program.flash.size() >= 8) {
    std::memcpy(&stack, program.flash.data(), 4);
    std::memcpy(&start, program.flash.data() + 4, 4);
  }
  const bool stack_fits = stack % 4 == 0 && (lies_in(stack, 0, m.sram_base, m.sram_bytes) ||
                                             lies_in(stack, 0, m.ccm_base, m.ccm_bytes));
  const Word code = start & ~Word{1};
  const bool start_fits = (start & 1) && (lies_in(code, 2, m.flash_base, m.flash_bytes) ||
                                          lies_in(code, 2, 0, m.flash_bytes));
  if (!stack_fits || !start_fits)
    file.refuse(fmt::format("has no vector table at 0x{:08x} (stack 0x{:08x}, start 0x{:08x})",
                            m.flash_base, stack, start),
                "Link the vector table to the start of flash; a program that needs a boot loader "
                "is to be linked with it.");
}

}  // namespace

std::string Program::name_of(Word address) const {
  auto after = std::upper_bound(names.begin(), names.end(), address,
                                [](Word a, const Named& n) { return a < n.address; });
  while (after != names.begin()) {
    const Named& one = *--after;
    if (!one.is_function) continue;
    const Word offset = address - one.address;
    if (offset >= std::max<Word>(one.bytes, 2)) return {};
    return offset == 0 ? one.name : fmt::format("{}+0x{:x}", one.name, offset);
  }
  return {};
}

const Named* Program::find(std::string_view name) const {
  for (const Named& one : names)
    if (!one.is_function && one.name == name) return &one;
  return nullptr;
}

mcu::ElfTarget elf_target() { return {EM_ARM, "Arm", "arm-none-eabi-gcc -mcpu=cortex-m4 -mthumb"}; }

Program read_program(std::string_view bytes, const Memories& memories, const std::string& name) {
  const mcu::ElfFile file(bytes, elf_target(), name);
  Program program;
  const std::vector<mcu::Segment> segments = file.segments();
  refuse_overlaps(file, segments);
  for (const mcu::Segment& segment : segments) place(file, segment, memories, program);
  if (program.flash.empty())
    file.refuse("holds no program", "Check the linker's map: no section goes to flash.");
  check_vectors(file, memories, program);
  for (const mcu::Symbol& s : file.symbols())
    program.names.push_back({s.is_function ? s.address & ~Word{1} : s.address, s.bytes,
                             s.is_function, std::string(s.name)});
  std::stable_sort(program.names.begin(), program.names.end(),
                   [](const Named& a, const Named& b) { return a.address < b.address; });
  return program;
}

Program load_program(const std::filesystem::path& path, const Memories& memories) {
  std::ifstream file(path, std::ios::binary);
  if (!file)
    throw ConfigError(
        "controller.firmware",
        fmt::format("{} cannot be read. Build it, or check the path.", path.string()));
  const std::string bytes{std::istreambuf_iterator<char>(file), {}};
  return read_program(bytes, memories, path.string());
}

}  // namespace stillrotor::io::cortexm
