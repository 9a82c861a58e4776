#include "io/mcu/elf.hpp"

#include <elf.h>
#include <fmt/core.h>

#include <cstring>
#include <optional>
#include <type_traits>

#include "io/connector.hpp"

namespace stillrotor::io::mcu {
namespace {

constexpr std::string_view device_note = ".note.gnu.avr.deviceinfo";

class Reader {
 public:
  Reader(std::string_view bytes, const Part& part, const std::string& name)
      : bytes_(bytes), part_(part), name_(name) {}

  Firmware read() {
    const auto header = read_at<Elf32_Ehdr>(0);
    if (!header) cut_off();
    if (header->e_ident[EI_CLASS] != ELFCLASS32 || header->e_ident[EI_DATA] != ELFDATA2LSB ||
        header->e_machine != EM_AVR)
      refuse(fmt::format("is an ELF file for another processor (machine {}, {}-bit)",
                         header->e_machine, header->e_ident[EI_CLASS] == ELFCLASS64 ? 64 : 32),
             fmt::format("Compile it with avr-gcc -mmcu={} (machine 83, 32-bit).", part_.name));
    if (header->e_type != ET_EXEC)
      refuse("is an AVR object file that has not been linked",
             fmt::format("Link it: avr-gcc -mmcu={} -o firmware.elf ...", part_.name));
    check_part(*header);
    for (unsigned i = 0; i < header->e_phnum; ++i) {
      const auto segment =
          read_at<Elf32_Phdr>(header->e_phoff + std::uint64_t{i} * sizeof(Elf32_Phdr));
      if (!segment) cut_off();
      if (segment->p_type == PT_LOAD && segment->p_filesz != 0) place(*segment);
    }
    if (firmware_.flash.empty())
      refuse("holds no program", "Check the linker's map: no section goes to program memory.");
    return std::move(firmware_);
  }

 private:
  [[noreturn]] void refuse(const std::string& reason, const std::string& remedy) const {
    throw ConfigError("controller.firmware", fmt::format("{} {}. {}", name_, reason, remedy));
  }
  [[noreturn]] void cut_off() const {
    refuse("ends before its own table says", "It is cut off or damaged; build or copy it again.");
  }

  /// A file names its family of instructions, and, by compilers that do, the very part.
  void check_part(const Elf32_Ehdr& header) const {
    constexpr unsigned architecture_bits = 0x7f;
    const std::string remedy =
        fmt::format("Compile it with -mmcu={}, or set controller.part.", part_.name);
    if (const unsigned family = header.e_flags & architecture_bits; family != part_.architecture)
      refuse(fmt::format("has instructions of the family avr{}; {} has those of avr{}", family,
                         part_.name, part_.architecture),
             remedy);
    if (const std::string made_for = device_name(header);
        !made_for.empty() && made_for != part_.name && made_for != part_.compiled)
      refuse(fmt::format("was compiled for {}; controller.part is {}", made_for, part_.name),
             remedy);
  }

  /// From the note that avr-gcc adds: header, name "AVR", six addresses and sizes, a table of
  /// offsets, strings. Empty: none, or one of another form.
  std::string device_name(const Elf32_Ehdr& header) const {
    const auto section = [&](unsigned index) {
      return read_at<Elf32_Shdr>(header.e_shoff + std::uint64_t{index} * sizeof(Elf32_Shdr));
    };
    const auto text_at = [&](std::uint64_t offset) {
      return offset < bytes_.size() ? bytes_.substr(offset, bytes_.find('\0', offset) - offset)
                                    : std::string_view();
    };
    const auto names = section(header.e_shstrndx);
    for (unsigned i = 0; names && i < header.e_shnum; ++i) {
      const auto one = section(i);
      if (!one || text_at(std::uint64_t{names->sh_offset} + one->sh_name) != device_note) continue;
      constexpr std::uint64_t table = sizeof(Elf32_Nhdr) + sizeof "AVR" + 6 * sizeof(Elf32_Word);
      const auto size = read_at<Elf32_Word>(one->sh_offset + table);
      const auto first = read_at<Elf32_Word>(one->sh_offset + table + sizeof(Elf32_Word));
      if (!size || !first) return {};
      return std::string(text_at(one->sh_offset + table + *size + *first));
    }
    return {};
  }

  template <class T>
  std::optional<T> read_at(std::uint64_t offset) const {
    static_assert(std::is_trivially_copyable_v<T>);
    if (offset > bytes_.size() || bytes_.size() - offset < sizeof(T)) return std::nullopt;
    T value;
    std::memcpy(&value, bytes_.data() + offset, sizeof(T));
    return value;
  }

  void place(const Elf32_Phdr& segment) {
    const std::uint64_t offset = segment.p_offset, size = segment.p_filesz;
    if (offset > bytes_.size() || bytes_.size() - offset < size) cut_off();
    // Initialised data is stored in flash: the physical address counts.
    const auto [memory, begin] = place_of(segment.p_paddr);
    if (memory == Memory::not_executed) return;
    if (memory == Memory::data)
      refuse("loads straight into RAM", "Link it for program memory (avr-gcc's default script).");
    const bool is_eeprom = memory == Memory::eeprom;
    const std::size_t room = is_eeprom ? part_.eeprom_bytes : part_.flash_bytes;
    if (begin + size > room)
      refuse(fmt::format("needs {} bytes of {}, the part has {}", begin + size,
                         is_eeprom ? "EEPROM" : "program memory", room),
             "Make it smaller (-Os) or choose a bigger part.");
    auto& content = is_eeprom ? firmware_.eeprom : firmware_.flash;
    if (content.size() < begin + size) content.resize(begin + size, 0xff);
    std::memcpy(content.data() + begin, bytes_.data() + offset, size);
  }

  std::string_view bytes_;
  const Part& part_;
  const std::string& name_;
  Firmware firmware_;
};

}  // namespace

bool starts_like_elf(std::string_view bytes) noexcept {
  return bytes.starts_with(std::string_view(ELFMAG, SELFMAG));
}

Firmware read_elf(std::string_view bytes, const Part& part, const std::string& name) {
  return Reader(bytes, part, name).read();
}

}  // namespace stillrotor::io::mcu
