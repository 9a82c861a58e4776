// The instruction simulator (simavr) behind one small door: registers, access hooks, events.
//
// simavr executes instructions, keeps the interrupt table and queues events by cycle. Its models of
// ports, timers, ADC and USART are replaced by our own through these hooks: an access hook is told
// the exact cycle at which the access takes effect, and every event up to it has happened before.
//
// RT     on_write, on_read and construction allocate; the rest does not.
#pragma once

#include <cstdarg>
#include <cstdint>
#include <string>

#include "io/mcu/clock.hpp"
#include "io/mcu/parts/part.hpp"
#include "io/mcu/registers.hpp"
#include "io/mcu/simavr.hpp"

namespace stillrotor::io::mcu {

/// A write by an instruction. SBI and CBI touch one bit only on most parts (datasheet, Register
/// Summary, note 3); the simulator shows them as a read-modify-write of all eight.
struct Write {
  Address address;
  std::uint8_t value;
  std::uint8_t touched;  // bits the instruction names
  Cycle at;              // end of the instruction: the pins change then
  constexpr std::uint8_t ones() const noexcept {
    return static_cast<std::uint8_t>(value & touched);
  }
};

/// Below it are the processor's own; no_register lies there.
inline constexpr Address first_register = 32;

class Core {
 public:
  /// Throws std::bad_alloc.
  Core(const Part&, std::uint32_t clock_Hz);
  ~Core();
  Core(const Core&) = delete;
  Core& operator=(const Core&) = delete;

  avr_t* avr() const noexcept { return avr_; }
  std::uint8_t& reg(Address address) const noexcept { return avr_->data[address]; }
  Cycle now() const noexcept { return avr_->cycle; }
  std::uint32_t flash_size() const noexcept { return avr_->flashend + 1; }

  /// Method: void (T::*)(const Write&). It stores the value itself.
  template <auto Method, class T>
  void on_write(Address address, T* self) {
    if (address < first_register) return;
    auto& slot = avr_->io[address - first_register].w;
    slot.param = self;
    slot.c = [](avr_t* avr, avr_io_addr_t addr, std::uint8_t value, void* me) {
      Core& core = of(avr);
      (static_cast<T*>(me)->*Method)(core.begin_write(addr, value));
      core.end_access();
    };
  }
  /// Method: std::uint8_t (T::*)(Address, Cycle).
  template <auto Method, class T>
  void on_read(Address address, T* self) {
    if (address < first_register) return;
    auto& slot = avr_->io[address - first_register].r;
    slot.param = self;
    slot.c = [](avr_t* avr, avr_io_addr_t addr, void* me) {
      Core& core = of(avr);
      const std::uint8_t value = (static_cast<T*>(me)->*Method)(addr, core.begin_read());
      core.end_access();
      return value;
    };
  }
  /// Calls Method: void (T::*)(Cycle) at that cycle (at once if it has passed); one per method and
  /// object, a new one replaces the old.
  template <auto Method, class T>
  void schedule(Cycle when, T* self) noexcept {
    avr_cycle_timer_register(avr_, when > avr_->cycle ? when - avr_->cycle : 0, &event<Method, T>,
                             self);
  }
  template <auto Method, class T>
  void cancel(T* self) noexcept {
    avr_cycle_timer_cancel(avr_, &event<Method, T>, self);
  }

  /// Ends the current stretch of instructions after the running one.
  void request_stop() noexcept { stop_ = true; }
  void clear_stop() noexcept { stop_ = false; }
  bool stop_requested() const noexcept { return stop_; }

  /// The processor cannot go on: the first sentence given is the diagnosis.
  void fail(std::string sentence) noexcept;
  const std::string& failure() const noexcept { return failure_; }
  void clear_failure() noexcept { failure_.clear(); }
  /// "at PC 0x01a4, 12.3 ms": where the current instruction stands.
  std::string where() const;

 private:
  static Core& of(avr_t* avr) noexcept { return *static_cast<Core*>(avr->custom.data); }
  template <auto Method, class T>
  static avr_cycle_count_t event(avr_t*, avr_cycle_count_t when, void* me) {
    (static_cast<T*>(me)->*Method)(when);
    return 0;
  }
  Write begin_write(Address address, std::uint8_t value) noexcept;
  Cycle begin_read() noexcept;
  void end_access() noexcept {
    if (stop_) avr_->run_cycle_count = 0;
  }
  void catch_up(Cycle to) noexcept;
  std::uint16_t opcode() const noexcept;
  static void log(avr_t* avr, int level, const char* format, std::va_list) noexcept;

  avr_t* avr_;
  bool bits_write_all_;
  bool stop_ = false;
  std::string failure_;
};

}  // namespace stillrotor::io::mcu
