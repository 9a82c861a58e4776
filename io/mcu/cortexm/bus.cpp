#include "io/mcu/cortexm/bus.hpp"

#include <algorithm>

#include "io/mcu/cortexm/code.hpp"

namespace stillrotor::io::cortexm {
namespace {

// B3.1: the first megabyte of SRAM and of the peripherals, and where each of their bits is a word.
constexpr Word bands[] = {0x20000000, 0x40000000};
constexpr Word band_alias = 0x02000000, band_bytes = 0x00100000, alias_bytes = 32 * band_bytes;

/// Where no part has memory.
constexpr bool in_peripherals(Word address) noexcept { return address >> 29 == 2; }

constexpr Word lanes(Word address, unsigned size) noexcept {
  return (size == 4 ? ~Word{0} : (Word{1} << (8 * size)) - 1) << (8 * (address & 3));
}

}  // namespace

void Bus::attach(Word base, Word bytes, Peripheral& peripheral, const char* name, Word first) {
  const auto place = std::upper_bound(windows_.begin(), windows_.end(), base,
                                      [](Word b, const Window& w) { return b < w.base; });
  windows_.insert(place,
                  Window{base, bytes, &peripheral, name, first, peripheral.privileged_only()});
  pages_ = {};
  for (std::size_t i = 0; i < windows_.size() && i < 0xff; ++i) {
    const Window& w = windows_[i];
    for (Word at = w.base; at - w.base < w.bytes; at += 1u << window_page_bits)
      if (const Word page = (at - pages_base) >> window_page_bits; page < pages_.size())
        pages_[page] = static_cast<std::uint8_t>(i + 1);
  }
}

void Bus::guard(Word address, Guard guard) {
  if (Window* w = window(address)) w->guards.push_back(guard);
}

Peripheral* Bus::at(Word address) noexcept {
  Window* const w = window(address);
  return w != nullptr ? w->peripheral : nullptr;
}

bool Bus::answers(const Window& w, Word address, bool writes) noexcept {
  for (const Guard& g : w.guards) {
    if (((*g.word & g.mask) != 0) == g.free_if_set) continue;
    if (!writes && g.obstacle != Obstacle::clock_off) continue;
    if (watcher != nullptr) watcher->in_vain(w.name, address, writes, g.obstacle);
    return false;
  }
  return true;
}

void Bus::map() {
  never_code_.assign((ccm.bytes >> Code::page_bits) + 1, 0);
  for (const Area& area : {ccm, flash, sram}) readable[area.base >> 28] = area;
  writable[ccm.base >> 28] = {ccm, never_code_.data()};
  writable[sram.base >> 28] = {sram, code_.ram_pages()};
}

std::vector<Bus::Use> Bus::uses() const {
  std::vector<Use> all;
  for (const Window& w : windows_)
    if (w.reads + w.writes != 0) all.push_back({w.name, w.base, w.reads, w.writes});
  return all;
}

Bus::Window* Bus::window(Word address) noexcept {
  if (Window* w = paged(address)) return w;
  if (last_ < windows_.size() && address - windows_[last_].base < windows_[last_].bytes)
    return &windows_[last_];
  const auto after = std::upper_bound(windows_.begin(), windows_.end(), address,
                                      [](Word a, const Window& w) { return a < w.base; });
  if (after == windows_.begin()) return nullptr;
  Window& found = *(after - 1);
  if (address - found.base >= found.bytes) return nullptr;
  last_ = static_cast<std::size_t>(&found - windows_.data());
  return &found;
}

bool Bus::bit_band(Word address, Word& target, unsigned& bit) const noexcept {
  for (const Word band : bands) {
    const Word offset = address - band - band_alias;
    if (offset >= alias_bytes) continue;
    target = band + offset / 32;
    bit = offset / 4 % 8;
    return true;
  }
  return false;
}

std::uint8_t* Bus::memory(Word address) noexcept {
  for (const Area* area : {&sram, &ccm, &flash})
    if (address - area->base < area->bytes) return area->data + (address - area->base);
  if (address - flash_alias < flash.bytes) return flash.data + (address - flash_alias);
  return nullptr;
}

std::uint8_t* Bus::plain_ram(Word address, Word bytes) noexcept {
  const WritableArea& area = writable[address >> 28];
  const Word offset = address - area.base;
  if (offset >= area.bytes || bytes > area.bytes - offset) return nullptr;
  for (const Word end : {offset, offset + bytes - 1})
    if (area.code_pages[end >> Code::page_bits] != 0) return nullptr;
  return area.data + offset;
}

bool Bus::read_in(Window& w, Word address, unsigned size, Word& value, Cycle at,
                  bool privileged) noexcept {
  if (w.privileged_only && !privileged) return false;
  ++w.reads;
  value = 0;
  if (!answers(w, address, false)) return true;
  const Word word = w.peripheral->read((w.first + address - w.base) & ~Word{3}, at);
  value = (word & lanes(address, size)) >> (8 * (address & 3));
  return true;
}

bool Bus::read_elsewhere(Word address, unsigned size, Word& value, Cycle at,
                         bool privileged) noexcept {
  if (const std::uint8_t* bytes = in_peripherals(address) ? nullptr : memory(address)) {
    value = 0;
    std::memcpy(&value, bytes, size);
    return true;
  }
  if (Window* w = window(address)) return read_in(*w, address, size, value, at, privileged);
  Word target = 0;
  unsigned bit = 0;
  if (!bit_band(address, target, bit) || !read(target, 1, value, at, privileged)) return false;
  value = value >> bit & 1;
  return true;
}

bool Bus::write_in(Window& w, Word address, unsigned size, Word value, Cycle at,
                   bool privileged) noexcept {
  if (w.privileged_only && !privileged) return false;
  ++w.writes;
  if (!answers(w, address, true)) return true;
  const Word mask = lanes(address, size);
  w.peripheral->write((w.first + address - w.base) & ~Word{3}, value << (8 * (address & 3)) & mask,
                      mask, at);
  return true;
}

bool Bus::write_elsewhere(Word address, unsigned size, Word value, Cycle at,
                          bool privileged) noexcept {
  if (std::uint8_t* bytes = in_peripherals(address) ? nullptr : memory(address)) {
    if (address - sram.base >= sram.bytes && address - ccm.base >= ccm.bytes) {
      if (programmer == nullptr) return false;
      programmer->write(static_cast<Word>(bytes - flash.data) & ~Word{3},
                        value << (8 * (address & 3)), lanes(address, size), at);
      return true;
    }
    std::memcpy(bytes, &value, size);
    ++written;
    code_.forget(address, size);
    return true;
  }
  if (Window* w = window(address)) return write_in(*w, address, size, value, at, privileged);
  Word target = 0, byte = 0;
  unsigned bit = 0;
  if (!bit_band(address, target, bit) || !read(target, 1, byte, at, privileged)) return false;
  byte = (byte & ~(Word{1} << bit)) | (value & 1) << bit;
  return write(target, 1, byte, at, privileged);
}

}  // namespace stillrotor::io::cortexm
