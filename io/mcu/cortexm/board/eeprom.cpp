#include "io/mcu/cortexm/board/eeprom.hpp"

#include <fmt/core.h>

#include <algorithm>
#include <fstream>

namespace stillrotor::io::cortexm {

Eeprom::Eeprom(const EepromConfig& config)
    : device_(static_cast<std::uint8_t>(0x50 | config.address_pins)),
      write_(static_cast<std::int64_t>(config.write_s * 1e12)),
      memory_(bytes, 0xff) {
  if (config.address_pins < 0 || config.address_pins > 7)
    throw ConfigError("controller.partners.eeprom.address_pins",
                      fmt::format("address pins are {}; allowed 0 to 7, each of three pins low or "
                                  "high.",
                                  config.address_pins));
  if (config.image.empty()) return;
  std::ifstream file(config.image, std::ios::binary);
  const bool opened = file.is_open();
  std::vector<char> image(bytes + 1);  // one more than it may have: some files have no end
  file.read(image.data(), static_cast<std::streamsize>(image.size()));
  image.resize(static_cast<std::size_t>(file.gcount()));
  if (!opened || file.bad() || image.empty() || image.size() > bytes)
    throw ConfigError(
        "controller.partners.eeprom.image",
        fmt::format("{} {}; allowed a file of 1 to {} bytes, what the memory holds from its first "
                    "byte on.",
                    config.image.string(),
                    !opened || file.bad()  ? std::string("cannot be read")
                    : image.size() > bytes ? std::string("has more")
                                           : std::string("is empty"),
                    bytes));
  std::copy(image.begin(), image.end(), memory_.begin());
}

void Eeprom::start() noexcept {
  expects_ = Expects::nothing;
  clock_ = data_ = true;
  pulls_ = sends_ = false;
  address_ = 0;
}

void Eeprom::begin() noexcept {
  expects_ = Expects::device;
  pulls_ = sends_ = false;
  clocks_ = 0;
  sent_count_ = 0;
}

void Eeprom::stop(Time at) noexcept {
  if (expects_ == Expects::data && sent_count_ > 0) {
    const std::size_t first = address_ / page * page, within = address_ % page;
    // More than a page: the last ones stand, each at its place.
    const std::size_t from = sent_count_ > page ? sent_count_ - page : 0;
    for (std::size_t i = from; i < sent_count_; ++i)
      memory_[first + (within + i) % page] = sent_[i % page];
    address_ = static_cast<std::uint16_t>(first + (within + sent_count_) % page);
    busy_until_ = at + write_;
  }
  expects_ = Expects::nothing;
  pulls_ = sends_ = false;
}

/// A whole byte has come; true: acknowledged.
bool Eeprom::take(std::uint8_t byte, Time at) noexcept {
  switch (expects_) {
    case Expects::device:
      if (byte >> 1 != device_ || at < busy_until_) {
        expects_ = Expects::nothing;
        return false;
      }
      expects_ = byte & 1 ? Expects::clocks : Expects::high;
      return true;
    case Expects::high:
      address_ = static_cast<std::uint16_t>(byte << 8 & (bytes - 1));
      expects_ = Expects::low;
      return true;
    case Expects::low:
      address_ = static_cast<std::uint16_t>(address_ | byte);
      expects_ = Expects::data;
      return true;
    case Expects::data:
      sent_[sent_count_++ % page] = byte;
      return true;
    default:
      return false;
  }
}

/// The data line is this part's to change while the clock is low.
void Eeprom::clock_fell(Time at) noexcept {
  if (clocks_ == 8) {
    pulls_ = !sends_ && take(shift_, at);
    return;
  }
  if (clocks_ == 9) {
    clocks_ = 0;
    pulls_ = false;
    if (expects_ != Expects::clocks) return;
    if (sends_ && !acknowledged_) {  // the master has enough
      expects_ = Expects::nothing;
      return;
    }
    sends_ = true;
    shift_ = memory_[address_];
    address_ = static_cast<std::uint16_t>((address_ + 1) % bytes);
  }
  if (sends_) pulls_ = !(shift_ >> (7 - clocks_) & 1);
}

void Eeprom::seen(unsigned wire, bool high, Time at) noexcept {
  if (wire == data_wire) {
    data_ = high;
    if (!clock_) return;
    high ? stop(at) : begin();
    return;
  }
  clock_ = high;
  if (expects_ == Expects::nothing) {
    pulls_ = false;
    return;
  }
  if (!high) {
    clock_fell(at);
    return;
  }
  if (clocks_ < 8 && !sends_) shift_ = static_cast<std::uint8_t>(shift_ << 1 | (data_ ? 1 : 0));
  if (clocks_ == 8) acknowledged_ = !data_;
  ++clocks_;
}

}  // namespace stillrotor::io::cortexm
