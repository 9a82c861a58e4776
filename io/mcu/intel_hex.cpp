#include "io/mcu/intel_hex.hpp"

#include <fmt/core.h>

#include <cctype>
#include <numeric>
#include <span>

#include "io/connector.hpp"

namespace stillrotor::io::mcu {
namespace {

constexpr std::size_t frame_bytes = 5;  // length, two of the address, type, checksum

struct Kind {
  std::string_view name;
  int length;  // of its data; -1: any
};
constexpr Kind kinds[] = {{"data", -1},
                          {"end of file", 0},
                          {"extended segment address", 2},
                          {"start segment address", 4},
                          {"extended linear address", 2},
                          {"start linear address", 4}};
enum Type : std::uint8_t { data = 0, end_of_file = 1, segment_base = 2, linear_base = 4 };

constexpr int digit(char c) noexcept {
  if (c >= '0' && c <= '9') return c - '0';
  if (c >= 'A' && c <= 'F') return c - 'A' + 10;
  if (c >= 'a' && c <= 'f') return c - 'a' + 10;
  return -1;
}

/// A character as a message can show it.
std::string shown(char c) {
  const auto code = static_cast<unsigned char>(c);
  return code > 0x20 && code < 0x7f ? fmt::format("'{}'", c) : fmt::format("byte 0x{:02X}", code);
}

constexpr unsigned big_endian(std::span<const std::uint8_t> two) noexcept {
  return static_cast<unsigned>(two[0] << 8 | two[1]);
}

/// A memory as it fills: which line gave each byte.
struct Content {
  std::vector<std::uint8_t>& bytes;
  std::size_t room;
  const char* name;
  std::vector<std::uint32_t> line{};  // 0: none yet
};

class Reader {
 public:
  Reader(std::string_view text, const Part& part, const std::string& name)
      : rest_(text), part_(part), name_(name) {}

  Firmware read() {
    while (next_line()) {
      if (record_.empty()) continue;
      if (ended_)
        refuse("stands behind the end-of-file record",
               "Two files in one? Give one firmware, with one end.");
      parse();
      act();
    }
    if (!ended_)
      refuse(":00000001FF, the end-of-file record, is missing",
             "The file is cut off; build or copy it again.");
    if (firmware_.flash.empty())
      refuse("the file holds no program",
             "It may be the EEPROM's part (.eep); name that of program memory.");
    return std::move(firmware_);
  }

 private:
  [[noreturn]] void refuse(const std::string& what, const std::string& remedy) const {
    throw ConfigError("controller.firmware",
                      fmt::format("{}:{}: {}. {}", name_, number_, what, remedy));
  }

  bool next_line() {
    if (rest_.empty()) return false;
    const std::size_t end = rest_.find('\n');
    record_ = rest_.substr(0, end);
    rest_.remove_prefix(end == std::string_view::npos ? rest_.size() : end + 1);
    if (record_.ends_with('\r')) record_.remove_suffix(1);
    ++number_;
    return true;
  }

  /// The line's bytes, their number and their sum.
  void parse() {
    constexpr const char* damaged = "The file is damaged; build or copy it again.";
    if (record_[0] != ':')
      refuse(fmt::format("{} begins the line; a record begins with ':'", shown(record_[0])),
             damaged);
    bytes_.clear();
    for (std::size_t i = 1; i < record_.size(); ++i)
      if (digit(record_[i]) < 0)
        refuse(fmt::format("{} is no hexadecimal digit", shown(record_[i])), damaged);
    if (record_.size() % 2 == 0)
      refuse(fmt::format("the record has {} digits, an odd number", record_.size() - 1), damaged);
    for (std::size_t i = 1; i < record_.size(); i += 2)
      bytes_.push_back(static_cast<std::uint8_t>(digit(record_[i]) << 4 | digit(record_[i + 1])));
    if (bytes_.size() < frame_bytes)
      refuse(
          fmt::format("the record has {} bytes; the shortest has {}", bytes_.size(), frame_bytes),
          damaged);
    if (bytes_.size() != bytes_[0] + frame_bytes)
      refuse(fmt::format("the record says {} bytes of data and has {}", bytes_[0],
                         bytes_.size() - frame_bytes),
             damaged);
    const std::uint8_t last = bytes_.back();
    const auto sum = std::accumulate(bytes_.begin(), bytes_.end() - 1, 0u);
    if (const auto due = static_cast<std::uint8_t>(-sum); last != due)
      refuse(fmt::format("the checksum is 0x{:02X}; 0x{:02X} is due", last, due), damaged);
  }

  void act() {
    const std::uint8_t type = bytes_[3];
    if (type >= std::size(kinds))
      refuse(fmt::format("record type {:02X} is not known; allowed 00 to 05", type),
             "Write the firmware as Intel HEX: avr-objcopy -O ihex.");
    const Kind& kind = kinds[type];
    const unsigned offset = big_endian(std::span(bytes_).subspan(1, 2));
    const auto payload = std::span<const std::uint8_t>(bytes_).subspan(4, bytes_[0]);
    if (type == data) return place(base_ + offset, payload);
    if (payload.size() != static_cast<std::size_t>(kind.length) || offset != 0)
      refuse(fmt::format("the record ({}) has {} bytes of data and offset {:04X}; due: {} and 0000",
                         kind.name, payload.size(), offset, kind.length),
             "The file is damaged; build or copy it again.");
    if (type == end_of_file) ended_ = true;
    if (type == segment_base) base_ = std::uint64_t{big_endian(payload)} << 4;
    if (type == linear_base) base_ = std::uint64_t{big_endian(payload)} << 16;
  }

  /// No address wraps round at the end of a segment or of 4 GiB: no memory of a part reaches there.
  void place(std::uint64_t address, std::span<const std::uint8_t> bytes) {
    const auto [memory, begin] = place_of(address);
    if (memory == Memory::not_executed || bytes.empty()) return;
    if (memory == Memory::data)
      refuse(fmt::format("address 0x{:06X} is in RAM", address),
             "Link the firmware for program memory (avr-gcc's default script).");
    Content& content = memory == Memory::eeprom ? eeprom_ : flash_;
    const std::size_t end = begin + bytes.size();
    if (end > content.room)
      refuse(fmt::format("address 0x{:04X} is beyond the {} bytes of {} of {}",
                         std::max<std::uint64_t>(begin, content.room), content.room, content.name,
                         part_.name),
             "Make the firmware smaller (-Os), or name the part that it was built for.");
    if (content.bytes.size() < end) {
      content.bytes.resize(end, 0xff);
      content.line.resize(end, 0);
    }
    for (std::size_t i = 0; i < bytes.size(); ++i) {
      if (content.line[begin + i] != 0)
        refuse(fmt::format("the byte at 0x{:04X} of {} is given already, in line {}", begin + i,
                           content.name, content.line[begin + i]),
               "Two files in one? Give one firmware.");
      content.bytes[begin + i] = bytes[i];
      content.line[begin + i] = number_;
    }
  }

  std::string_view rest_, record_;
  const Part& part_;
  const std::string& name_;
  std::uint32_t number_ = 0;  // of the line
  std::vector<std::uint8_t> bytes_;
  std::uint64_t base_ = 0;
  bool ended_ = false;
  Firmware firmware_;
  Content flash_{firmware_.flash, part_.flash_bytes, "program memory"};
  Content eeprom_{firmware_.eeprom, part_.eeprom_bytes, "EEPROM"};
};

}  // namespace

bool starts_like_intel_hex(std::string_view bytes) noexcept { return bytes.starts_with(':'); }

Firmware read_intel_hex(std::string_view bytes, const Part& part, const std::string& name) {
  return Reader(bytes, part, name).read();
}

}  // namespace stillrotor::io::mcu
