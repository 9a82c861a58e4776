#include "io/mcu/elf.hpp"

#include <elf.h>
#include <fmt/core.h>

#include <cstring>
#include <fstream>
#include <iterator>
#include <optional>
#include <string>
#include <type_traits>

#include "io/connector.hpp"

namespace stillrotor::io::mcu {
namespace {

namespace fs = std::filesystem;

constexpr std::uint32_t data_base = 0x800000, eeprom_base = 0x810000, fuses_base = 0x820000;
constexpr std::uintmax_t largest_file = 64u << 20;  // with debugging information, by far enough

class Loader {
 public:
  Loader(const fs::path& path) : path_(path) {}

  Firmware load(std::size_t flash_size, std::size_t eeprom_size) {
    read_file();
    const auto header = part<Elf32_Ehdr>(0);
    if (!header || std::memcmp(header->e_ident, ELFMAG, SELFMAG) != 0)
      refuse(
          "is not an ELF file",
          "Give the file that the linker wrote (usually .elf), not a source, .hex or .bin file.");
    if (header->e_ident[EI_CLASS] != ELFCLASS32 || header->e_ident[EI_DATA] != ELFDATA2LSB ||
        header->e_machine != EM_AVR)
      refuse(fmt::format("is an ELF file for another processor (machine {}, {}-bit)",
                         header->e_machine, header->e_ident[EI_CLASS] == ELFCLASS64 ? 64 : 32),
             "Compile it with avr-gcc -mmcu=atmega328p (machine 83, 32-bit).");
    if (header->e_type != ET_EXEC)
      refuse("is an AVR object file that has not been linked",
             "Link it: avr-gcc -mmcu=atmega328p -o firmware.elf ...");
    Firmware firmware;
    for (unsigned i = 0; i < header->e_phnum; ++i) {
      const auto segment =
          part<Elf32_Phdr>(header->e_phoff + std::uint64_t{i} * sizeof(Elf32_Phdr));
      if (!segment) cut_off();
      if (segment->p_type != PT_LOAD || segment->p_filesz == 0) continue;
      place(*segment, firmware, flash_size, eeprom_size);
    }
    if (firmware.flash.empty())
      refuse("holds no program", "Check the linker's map: no section goes to program memory.");
    return firmware;
  }

 private:
  [[noreturn]] void refuse(const std::string& reason, const std::string& remedy) const {
    throw ConfigError("controller.firmware",
                      fmt::format("{} {}. {}", path_.string(), reason, remedy));
  }
  [[noreturn]] void cut_off() const {
    refuse("ends before its own table says", "It is cut off or damaged; build or copy it again.");
  }

  void read_file() {
    std::error_code error;
    const auto status = fs::status(path_, error);
    if (path_.empty())
      throw ConfigError("controller.firmware",
                        "no firmware is named. Set controller.firmware to an ELF file.");
    if (!fs::exists(status))
      refuse("does not exist", "Build the firmware first, or correct the path.");
    if (fs::is_directory(status)) refuse("is a folder", "Name the ELF file in it.");
    if (!fs::is_regular_file(status)) refuse("is not a regular file", "Name an ELF file.");
    const auto size = fs::file_size(path_, error);
    if (error) refuse("cannot be read (" + error.message() + ")", "Check its permissions.");
    if (size == 0) refuse("is empty", "Build the firmware again.");
    if (size > largest_file)
      refuse(fmt::format("has {} bytes, more than {} are not read", size, largest_file),
             "Name the linked firmware (ELF).");
    std::ifstream file(path_, std::ios::binary);
    bytes_.assign(std::istreambuf_iterator<char>(file), {});
    if (!file) refuse("cannot be read", "Check its permissions.");
  }

  template <class T>
  std::optional<T> part(std::uint64_t offset) const {
    static_assert(std::is_trivially_copyable_v<T>);
    if (offset > bytes_.size() || bytes_.size() - offset < sizeof(T)) return std::nullopt;
    T value;
    std::memcpy(&value, bytes_.data() + offset, sizeof(T));
    return value;
  }

  void place(const Elf32_Phdr& segment, Firmware& firmware, std::size_t flash_size,
             std::size_t eeprom_size) const {
    const std::uint64_t offset = segment.p_offset, size = segment.p_filesz;
    if (offset > bytes_.size() || bytes_.size() - offset < size) cut_off();
    // Initialised data is stored in flash: the physical address counts.
    const bool is_eeprom = segment.p_paddr >= eeprom_base && segment.p_paddr < fuses_base;
    if (segment.p_paddr >= fuses_base) return;  // fuses, lock bits, signature: not executed
    if (segment.p_paddr >= data_base && !is_eeprom)
      refuse("loads straight into RAM", "Link it for program memory (avr-gcc's default script).");
    const std::uint64_t begin = segment.p_paddr - (is_eeprom ? eeprom_base : 0);
    const std::size_t room = is_eeprom ? eeprom_size : flash_size;
    if (begin + size > room)
      refuse(fmt::format("needs {} bytes of {}, the part has {}", begin + size,
                         is_eeprom ? "EEPROM" : "program memory", room),
             "Make it smaller (-Os) or choose a bigger part.");
    auto& memory = is_eeprom ? firmware.eeprom : firmware.flash;
    if (memory.size() < begin + size) memory.resize(begin + size, 0xff);
    std::memcpy(memory.data() + begin, bytes_.data() + offset, size);
  }

  fs::path path_;
  std::vector<char> bytes_;
};

}  // namespace

Firmware load_firmware(const fs::path& path, std::size_t flash_size, std::size_t eeprom_size) {
  return Loader(path).load(flash_size, eeprom_size);
}

}  // namespace stillrotor::io::mcu
