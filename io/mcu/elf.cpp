#include "io/mcu/elf.hpp"

#include <elf.h>
#include <fmt/core.h>

#include <algorithm>
#include <cstring>

#include "io/connector.hpp"

namespace stillrotor::io::mcu {
namespace {

constexpr std::string_view device_note = ".note.gnu.avr.deviceinfo";

class Reader {
 public:
  Reader(std::string_view bytes, const Part& part, const std::string& name)
      : part_(part), file_(bytes, elf_target(part), name) {}

  Firmware read() {
    check_part();
    for (const Segment& segment : file_.segments()) place(segment);
    if (firmware_.flash.empty())
      file_.refuse("holds no program",
                   "Check the linker's map: no section goes to program memory.");
    take_names();
    return std::move(firmware_);
  }

 private:
  /// A file names its family of instructions, and, by compilers that do, the very part.
  void check_part() const {
    constexpr unsigned architecture_bits = 0x7f;
    const std::string remedy =
        fmt::format("Compile it with -mmcu={}, or set controller.part.", part_.name);
    if (const unsigned family = file_.header().e_flags & architecture_bits;
        family != part_.architecture)
      file_.refuse(fmt::format("has instructions of the family avr{}; {} has those of avr{}",
                               family, part_.name, part_.architecture),
                   remedy);
    if (const std::string made_for = device_name();
        !made_for.empty() && made_for != part_.name && made_for != part_.compiled)
      file_.refuse(fmt::format("was compiled for {}; controller.part is {}", made_for, part_.name),
                   remedy);
  }

  /// From the note that avr-gcc adds: header, name "AVR", six addresses and sizes, a table of
  /// offsets, strings. Empty: none, or one of another form.
  std::string device_name() const {
    const Elf32_Ehdr& header = file_.header();
    const auto names = file_.section(header.e_shstrndx);
    for (unsigned i = 0; names && i < header.e_shnum; ++i) {
      const auto one = file_.section(i);
      if (!one || file_.text_at(std::uint64_t{names->sh_offset} + one->sh_name) != device_note)
        continue;
      constexpr std::uint64_t table = sizeof(Elf32_Nhdr) + sizeof "AVR" + 6 * sizeof(Elf32_Word);
      const auto size = file_.read_at<Elf32_Word>(one->sh_offset + table);
      const auto first = file_.read_at<Elf32_Word>(one->sh_offset + table + sizeof(Elf32_Word));
      if (!size || !first) return {};
      return std::string(file_.text_at(one->sh_offset + table + *size + *first));
    }
    return {};
  }

  /// Variables in the EEPROM; those of other sizes than a number's are no settings.
  void take_names() {
    for (const Symbol& symbol : file_.symbols()) {
      const auto [memory, address] = place_of(symbol.address);
      const bool number = symbol.bytes == 1 || symbol.bytes == 2 || symbol.bytes == 4;
      if (memory != Memory::eeprom || symbol.is_function || !number ||
          address + symbol.bytes > firmware_.eeprom.size())
        continue;
      firmware_.names.push_back({std::string(symbol.name), static_cast<std::uint16_t>(address),
                                 static_cast<std::uint16_t>(symbol.bytes)});
    }
    std::sort(firmware_.names.begin(), firmware_.names.end(),
              [](const EepromName& a, const EepromName& b) { return a.address < b.address; });
  }

  void place(const Segment& segment) {
    const std::uint64_t size = segment.content.size();
    // Initialised data is stored in flash: the physical address counts.
    const auto [memory, begin] = place_of(segment.physical_address);
    if (memory == Memory::not_executed) return;
    if (memory == Memory::data)
      file_.refuse("loads straight into RAM",
                   "Link it for program memory (avr-gcc's default script).");
    const bool is_eeprom = memory == Memory::eeprom;
    const std::size_t room = is_eeprom ? part_.eeprom_bytes : part_.flash_bytes;
    if (begin + size > room)
      file_.refuse(fmt::format("needs {} bytes of {}, the part has {}", begin + size,
                               is_eeprom ? "EEPROM" : "program memory", room),
                   "Make it smaller (-Os) or choose a bigger part.");
    auto& content = is_eeprom ? firmware_.eeprom : firmware_.flash;
    if (content.size() < begin + size) content.resize(begin + size, 0xff);
    std::memcpy(content.data() + begin, segment.content.data(), size);
  }

  const Part& part_;
  ElfFile file_;
  Firmware firmware_;
};

}  // namespace

ElfTarget elf_target(const Part& part) {
  return {EM_AVR, "AVR", fmt::format("avr-gcc -mmcu={}", part.name)};
}

Firmware read_elf(std::string_view bytes, const Part& part, const std::string& name) {
  return Reader(bytes, part, name).read();
}

}  // namespace stillrotor::io::mcu
