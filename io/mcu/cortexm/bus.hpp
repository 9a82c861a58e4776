// The memory map behind the processor: flash, RAM, bit-band aliases, windows of peripherals.
//
// To add a peripheral: derive from Peripheral, and attach() it where the part's table says.
//
// Source ARM DDI 0403E (ARMv7-M architecture reference manual), A3.3 (alignment), B3.1 (address
// map). RT     nothing here allocates after attach().
#pragma once

#include <array>
#include <bit>
#include <cstring>
#include <vector>

#include "io/mcu/clock.hpp"
#include "io/mcu/cortexm/op.hpp"

namespace stillrotor::io::cortexm {

using mcu::Cycle;

/// A block of 32-bit registers.
class Peripheral {
 public:
  virtual ~Peripheral() = default;
  /// The word at that offset from the window's start; narrower loads take their part of it.
  /// at: the cycle in which the data passes the bus; everything scheduled up to it has happened.
  virtual Word read(Word offset, Cycle at) noexcept = 0;
  /// value has the written bytes at their place in the word, mask has ones there.
  virtual void write(Word offset, Word value, Word mask, Cycle at) noexcept = 0;
  /// Unprivileged code may not touch it: a bus fault.
  virtual bool privileged_only() const noexcept { return false; }
  /// As after a system reset.
  virtual void reset(Cycle) noexcept {}
};

/// What keeps a block from answering, as a register says it.
enum class Obstacle : std::uint8_t { clock_off, held_in_reset, write_protected };
struct Guard {
  const Word* word;
  Word mask;
  bool free_if_set;  // any bit of the mask; else: none of them
  Obstacle obstacle;
};
/// Told of accesses that came to nothing.
class GuardWatcher {
 public:
  virtual ~GuardWatcher() = default;
  virtual void in_vain(const char* block, Word address, bool written, Obstacle) noexcept = 0;
};

struct Area {
  Word base = 0, bytes = 0;
  std::uint8_t* data = nullptr;
  /// Offset of an aligned access of that size that lies inside; false: it does not.
  template <class T>
  bool holds(Word address, Word& offset) const noexcept {
    offset = address - base;
    // Rotated right, an address that is not aligned becomes a big number.
    return std::rotr(offset, std::countr_zero(sizeof(T))) < bytes / sizeof(T);
  }
};

/// RAM, with what Code says of its pages: one that holds decoded instructions takes the long way.
struct WritableArea : Area {
  const std::uint8_t* code_pages = nullptr;
};

class Code;

class Bus {
  struct Window;

 public:
  explicit Bus(Code& code) : code_(code) {}
  /// Windows do not overlap; bytes is a multiple of 4. name: for reports, outlives this. first: the
  /// peripheral's offset at the window's start, for one that stands behind several.
  void attach(Word base, Word bytes, Peripheral&, const char* name = "", Word first = 0);
  /// For the window at that address. Without its clock it reads 0 and takes nothing; held in reset
  /// or protected it takes nothing.
  void guard(Word address, Guard);
  /// The peripheral at that address; nullptr: none.
  Peripheral* at(Word address) noexcept;
  GuardWatcher* watcher = nullptr;
  /// Who has been asked for what, window by window.
  struct Use {
    const char* name;
    Word base;
    std::uint64_t reads, writes;
  };
  std::vector<Use> uses() const;

  /// Any address, size 1, 2 or 4, not crossing a word. false: nothing answers there (bus fault).
  bool read(Word address, unsigned size, Word& value, Cycle at, bool privileged) noexcept {
    if (Window* w = paged(address)) return read_in(*w, address, size, value, at, privileged);
    return read_elsewhere(address, size, value, at, privileged);
  }
  bool write(Word address, unsigned size, Word value, Cycle at, bool privileged) noexcept {
    if (Window* w = paged(address)) return write_in(*w, address, size, value, at, privileged);
    return write_elsewhere(address, size, value, at, privileged);
  }
  /// What answers at an address of a peripheral that anybody may touch, for read_in() and
  /// write_in(); nullptr: none. Good until the next attach().
  Window* open_window(Word address) noexcept {
    Window* const w = paged(address);
    return w != nullptr && !w->privileged_only ? w : nullptr;
  }
  using WindowPlace = Window*;
  /// false: it is not privileged enough.
  bool read_in(Window&, Word address, unsigned size, Word& value, Cycle, bool privileged) noexcept;
  bool write_in(Window&, Word address, unsigned size, Word value, Cycle, bool privileged) noexcept;
  /// Memory only, without side effects; nullptr: not memory.
  std::uint8_t* memory(Word address) noexcept;
  /// Of RAM alone, so many bytes in a row that hold no decoded instructions; nullptr: not all are.
  std::uint8_t* plain_ram(Word address, Word bytes) noexcept;

  Area flash, sram, ccm;
  /// The same for the quick way, by the address's upper four bits; nothing there takes the long
  /// way. map() makes them of the areas, of which a part has at most one in each sixteenth.
  std::array<Area, 16> readable;
  std::array<WritableArea, 16> writable;
  void map();
  /// Another address of the flash, as the part maps it for its boot.
  Word flash_alias = 0;
  /// Takes stores to the flash's own addresses, by offset; without one they are bus faults. Whoever
  /// changes the flash tells Code.
  Peripheral* programmer = nullptr;
  /// Counts writes to memory that went this way: all but the processor's quick ones.
  std::uint64_t written = 0;

 private:
  struct Window {
    Word base, bytes;
    Peripheral* peripheral;
    const char* name;
    Word first;
    bool privileged_only;
    std::uint64_t reads = 0, writes = 0;
    std::vector<Guard> guards{};
  };
  bool answers(const Window&, Word address, bool writes) noexcept;
  /// Where most peripherals are; nullptr: look among all.
  Window* paged(Word address) noexcept {
    const Word page = (address - pages_base) >> window_page_bits;
    const unsigned place = page < pages_.size() ? pages_[page] : 0;
    if (place == 0) return nullptr;
    Window& w = windows_[place - 1];
    return address - w.base < w.bytes ? &w : nullptr;
  }
  Window* window(Word address) noexcept;
  bool read_elsewhere(Word address, unsigned size, Word& value, Cycle, bool privileged) noexcept;
  bool write_elsewhere(Word address, unsigned size, Word value, Cycle, bool privileged) noexcept;
  bool bit_band(Word address, Word& target, unsigned& bit) const noexcept;

  Code& code_;
  std::vector<Window> windows_;  // by base
  /// Of most peripherals' pages, the window there and one more; 0: look among all.
  static constexpr Word pages_base = 0x40000000, window_page_bits = 8;
  std::array<std::uint8_t, 2048> pages_{};
  std::size_t last_ = 0;                  // among them, the one asked last
  std::vector<std::uint8_t> never_code_;  // pages of the memory that holds data only
};

}  // namespace stillrotor::io::cortexm
