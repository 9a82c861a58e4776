#include "io/mcu/elf.hpp"

#include <elf.h>
#include <fmt/core.h>

#include <cstring>
#include <optional>
#include <type_traits>

#include "io/connector.hpp"

namespace stillrotor::io::mcu {
namespace {

class Reader {
 public:
  Reader(std::string_view bytes, const Room& room, const std::string& name)
      : bytes_(bytes), room_(room), name_(name) {}

  Firmware read() {
    const auto header = part<Elf32_Ehdr>(0);
    if (!header) cut_off();
    if (header->e_ident[EI_CLASS] != ELFCLASS32 || header->e_ident[EI_DATA] != ELFDATA2LSB ||
        header->e_machine != EM_AVR)
      refuse(fmt::format("is an ELF file for another processor (machine {}, {}-bit)",
                         header->e_machine, header->e_ident[EI_CLASS] == ELFCLASS64 ? 64 : 32),
             fmt::format("Compile it with avr-gcc -mmcu={} (machine 83, 32-bit).", room_.part));
    if (header->e_type != ET_EXEC)
      refuse("is an AVR object file that has not been linked",
             fmt::format("Link it: avr-gcc -mmcu={} -o firmware.elf ...", room_.part));
    for (unsigned i = 0; i < header->e_phnum; ++i) {
      const auto segment =
          part<Elf32_Phdr>(header->e_phoff + std::uint64_t{i} * sizeof(Elf32_Phdr));
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

  template <class T>
  std::optional<T> part(std::uint64_t offset) const {
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
    const std::size_t room = is_eeprom ? room_.eeprom : room_.flash;
    if (begin + size > room)
      refuse(fmt::format("needs {} bytes of {}, the part has {}", begin + size,
                         is_eeprom ? "EEPROM" : "program memory", room),
             "Make it smaller (-Os) or choose a bigger part.");
    auto& content = is_eeprom ? firmware_.eeprom : firmware_.flash;
    if (content.size() < begin + size) content.resize(begin + size, 0xff);
    std::memcpy(content.data() + begin, bytes_.data() + offset, size);
  }

  std::string_view bytes_;
  const Room& room_;
  const std::string& name_;
  Firmware firmware_;
};

}  // namespace

bool starts_like_elf(std::string_view bytes) noexcept {
  return bytes.starts_with(std::string_view(ELFMAG, SELFMAG));
}

Firmware read_elf(std::string_view bytes, const Room& room, const std::string& name) {
  return Reader(bytes, room, name).read();
}

}  // namespace stillrotor::io::mcu
