// A linked 32-bit ELF file, read with distrust: nothing is taken from beyond its end.
//
// Source System V ABI, ELF-32 object files.
// Errors ConfigError ("controller.firmware"): another processor, not linked, cut off.
#pragma once

#include <elf.h>

#include <cstring>
#include <optional>
#include <string>
#include <string_view>
#include <type_traits>
#include <vector>

namespace stillrotor::io::mcu {

bool starts_like_elf(std::string_view bytes) noexcept;

/// For whom a file must be: e_machine, and how one is made ("avr-gcc -mmcu=atmega328p").
struct ElfTarget {
  unsigned machine;
  std::string family;  // "AVR"
  std::string compiler;
};

struct Segment {
  std::uint64_t virtual_address, physical_address;
  std::string_view content;
  std::uint64_t memory_bytes;  // with what is zeroed at start
};

struct Symbol {
  std::uint32_t address, bytes;
  bool is_function;
  std::string_view name;
};

class ElfFile {
 public:
  /// bytes outlives this; name: the file's, for messages.
  ElfFile(std::string_view bytes, const ElfTarget&, const std::string& name);

  const Elf32_Ehdr& header() const noexcept { return header_; }
  /// Those that are loaded and have content. Throws.
  std::vector<Segment> segments() const;
  /// Functions and variables; what is damaged is left out. Strings point into the file.
  std::vector<Symbol> symbols() const;

  std::optional<Elf32_Shdr> section(unsigned index) const;
  /// Up to its end or the file's.
  std::string_view text_at(std::uint64_t offset) const;
  template <class T>
  std::optional<T> read_at(std::uint64_t offset) const {
    static_assert(std::is_trivially_copyable_v<T>);
    if (offset > bytes_.size() || bytes_.size() - offset < sizeof(T)) return std::nullopt;
    T value;
    std::memcpy(&value, bytes_.data() + offset, sizeof(T));
    return value;
  }
  [[noreturn]] void refuse(const std::string& reason, const std::string& remedy) const;
  [[noreturn]] void cut_off() const;

 private:
  std::string_view bytes_;
  std::string name_;
  Elf32_Ehdr header_{};
};

}  // namespace stillrotor::io::mcu
