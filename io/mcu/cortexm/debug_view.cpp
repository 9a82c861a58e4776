#include "io/mcu/cortexm/debug_view.hpp"

#include <fmt/core.h>

#include <bit>

namespace stillrotor::io::cortexm {
namespace {

// In the order of the description below.
enum Register : std::size_t {
  sp = 13,
  lr = 14,
  pc_register = 15,
  xpsr = 16,
  first_double = 17,
  fpscr = first_double + 16,
  msp,
  psp,
  primask,
  basepri,
  faultmask,
  control,
  count
};

/// An access to registers takes no time while a debugger looks.
class HeldCycle {
 public:
  explicit HeldCycle(Cpu& cpu) : cpu_(cpu), cycle_(cpu.cycle) {}
  ~HeldCycle() { cpu_.cycle = cycle_; }
  HeldCycle(const HeldCycle&) = delete;
  HeldCycle& operator=(const HeldCycle&) = delete;

 private:
  Cpu& cpu_;
  Cycle cycle_;
};

/// The widest aligned access, as a word, halfword or byte.
unsigned access_bytes(Word address, std::size_t left) noexcept {
  const unsigned aligned = address % 4 == 0 ? 4 : address % 2 == 0 ? 2 : 1;
  return std::min(aligned, static_cast<unsigned>(std::bit_floor(std::min<std::size_t>(left, 4))));
}

bool holds(const Area& area, Word address, std::size_t bytes) noexcept {
  const Word offset = address - area.base;
  return offset < area.bytes && bytes <= area.bytes - offset;
}

}  // namespace

DebugView::DebugView(Chip& chip, mcu::Debugger& debugger)
    : chip_(chip), cpu_(chip.core().cpu()), debugger_(debugger) {
  chip_.core().show_to(this);
}
DebugView::~DebugView() { chip_.core().show_to(nullptr); }

void DebugView::ended() noexcept {
  debugger_.ended(
      *this, "The firmware did what the processor cannot go on from: " + chip_.core().end() + ".");
}

std::string DebugView::description() const {
  std::string xml =
      "<?xml version=\"1.0\"?><!DOCTYPE target SYSTEM \"gdb-target.dtd\">"
      "<target version=\"1.0\"><architecture>arm</architecture>"
      "<feature name=\"org.gnu.gdb.arm.m-profile\">";
  const auto add = [&](const std::string& name, unsigned bits, const char* type) {
    xml += fmt::format("<reg name=\"{}\" bitsize=\"{}\" type=\"{}\"/>", name, bits, type);
  };
  for (int n = 0; n < 13; ++n) add(fmt::format("r{}", n), 32, "uint32");
  add("sp", 32, "data_ptr");
  add("lr", 32, "int");
  add("pc", 32, "code_ptr");
  add("xpsr", 32, "int");
  xml += "</feature><feature name=\"org.gnu.gdb.arm.vfp\">";
  for (int n = 0; n < 16; ++n) add(fmt::format("d{}", n), 64, "ieee_double");
  add("fpscr", 32, "int");
  xml += "</feature><feature name=\"org.gnu.gdb.arm.m-system\">";
  add("msp", 32, "data_ptr");
  add("psp", 32, "data_ptr");
  for (const char* name : {"primask", "basepri", "faultmask", "control"}) add(name, 32, "int");
  return xml + "</feature></target>";
}

std::string DebugView::memory_map() const {
  std::string xml =
      "<?xml version=\"1.0\"?><!DOCTYPE memory-map PUBLIC \"+//IDN gnu.org//DTD GDB Memory Map V1.0"
      "//EN\" \"http://sourceware.org/gdb/gdb-memory-map.dtd\"><memory-map>";
  const auto add = [&](const char* type, Word base, std::uint64_t bytes) {
    if (bytes != 0)
      xml += fmt::format("<memory type=\"{}\" start=\"0x{:x}\" length=\"0x{:x}\"/>", type, base,
                         bytes);
  };
  const Bus& bus = cpu_.bus;
  // Read-only: the debugger then takes breakpoints that need nothing written.
  add("rom", bus.flash_alias, bus.flash.bytes);
  add("rom", bus.flash.base, bus.flash.bytes);
  add("ram", bus.ccm.base, bus.ccm.bytes);
  add("ram", bus.sram.base, bus.sram.bytes);
  add("ram", 0x22000000, 0x02000000);  // its bits, and the peripherals (B3.1)
  add("ram", 0x40000000, 0x20000000);
  add("ram", 0xE0000000, 0x20000000);
  return xml + "</memory-map>";
}

std::size_t DebugView::register_count() const noexcept { return count; }
std::size_t DebugView::register_bytes(std::size_t number) const noexcept {
  return number >= first_double && number < fpscr ? 8 : 4;
}

std::uint64_t DebugView::read_register(std::size_t number) noexcept {
  const Cpu& c = cpu_;
  if (number < pc_register) return c.r[number];
  if (number >= first_double && number < fpscr) {
    const std::size_t n = 2 * (number - first_double);
    return c.s[n] | std::uint64_t{c.s[n + 1]} << 32;
  }
  switch (number) {
    case pc_register:
      return c.pc();
    case xpsr:
      return c.xpsr();
    case fpscr:
      return c.fpscr;
    case msp:
      return c.main_sp();
    case psp:
      return c.process_sp();
    case primask:
      return c.primask;
    case basepri:
      return c.basepri;
    case faultmask:
      return c.faultmask;
    default:
      return c.control();
  }
}

bool DebugView::write_register(std::size_t number, std::uint64_t value) noexcept {
  Cpu& c = cpu_;
  const Word word = static_cast<Word>(value);
  const HeldCycle held(c);
  if (number < pc_register) {
    c.r[number] = number == sp ? word & ~Word{3} : word;
    return true;
  }
  if (number >= first_double && number < fpscr) {
    const std::size_t n = 2 * (number - first_double);
    c.s[n] = word;
    c.s[n + 1] = static_cast<Word>(value >> 32);
    return true;
  }
  switch (number) {
    case pc_register:
      c.it = 0;
      c.set_pc(word);
      return true;
    case xpsr:  // the flags; mode and IT state are the processor's own
      c.set_nzcv(word);
      c.saturated = word >> 27 & 1;
      c.ge = word >> 16 & 0xf;
      return true;
    case fpscr:
      c.fpscr = word;
      return true;
    case msp:
      c.set_main_sp(word);
      return true;
    case psp:
      c.set_process_sp(word);
      return true;
    case primask:
      c.primask = word & 1;
      break;
    case basepri:
      c.basepri = word & priority::implemented;
      break;
    case faultmask:
      c.faultmask = word & 1;
      break;
    default:
      return false;
  }
  c.attend();
  return true;
}

std::size_t DebugView::read_memory(std::uint32_t address, std::span<std::uint8_t> bytes) noexcept {
  std::size_t done = 0;
  GuardWatcher* const watcher = std::exchange(cpu_.bus.watcher, nullptr);  // not the firmware's
  while (done < bytes.size()) {
    const Word at = address + static_cast<Word>(done);
    const unsigned size = access_bytes(at, bytes.size() - done);
    Word value = 0;
    if (!cpu_.bus.read(at, size, value, cpu_.cycle, true)) break;
    std::memcpy(bytes.data() + done, &value, size);
    done += size;
  }
  cpu_.bus.watcher = watcher;
  return done;
}

bool DebugView::write_memory(std::uint32_t address, std::span<const std::uint8_t> bytes) noexcept {
  for (std::size_t done = 0; done < bytes.size();) {
    const Word at = address + static_cast<Word>(done);
    const Bus& bus = cpu_.bus;
    if (holds(bus.flash, at, 1) || at - bus.flash_alias < bus.flash.bytes) return false;
    const unsigned size = access_bytes(at, bytes.size() - done);
    Word value = 0;
    std::memcpy(&value, bytes.data() + done, size);
    if (!cpu_.bus.write(at, size, value, cpu_.cycle, true)) return false;
    done += size;
  }
  return true;
}

bool DebugView::peek_ram(std::uint32_t address, std::span<std::uint8_t> bytes) const noexcept {
  for (const Area* area : {&cpu_.bus.sram, &cpu_.bus.ccm})
    if (holds(*area, address, bytes.size())) {
      std::memcpy(bytes.data(), area->data + (address - area->base), bytes.size());
      return true;
    }
  return false;
}

std::string DebugView::where() {
  return fmt::format("{:.9f} s after the chip's start, cycle {}, {}{}",
                     static_cast<double>(chip_.now().count()) / 1e12, cpu_.cycle,
                     chip_.core().describe(cpu_.pc()), chip_.core().asleep() ? ", asleep" : "");
}

}  // namespace stillrotor::io::cortexm
