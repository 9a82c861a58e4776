// The whole part: processor, ports, timers, ADC, comparator, USART, power and sleep.
//
// Order  events (timer, ADC, USART, pin) happen at their exact cycle, in order; the instruction
//        that runs then ends first where the part would let it, and an interrupt is entered at the
//        next instruction's end: 4 cycles, 8 out of sleep (datasheet, Interrupt Response Time).
// Part   what its registers are called and where they stand is data: io/mcu/parts.
// Source ATmega48A/PA/88A/PA/168A/PA/328/P datasheet; ATmega8/ATmega8L datasheet.
// RT     run() and deliver() allocate only the sentence of a crash.
#pragma once

#include <array>
#include <filesystem>
#include <optional>
#include <string>

#include "io/connector.hpp"
#include "io/mcu/adc.hpp"
#include "io/mcu/comparator.hpp"
#include "io/mcu/core.hpp"
#include "io/mcu/firmware.hpp"
#include "io/mcu/interrupts.hpp"
#include "io/mcu/outside.hpp"
#include "io/mcu/ports.hpp"
#include "io/mcu/timer.hpp"
#include "io/mcu/unmodelled.hpp"
#include "io/mcu/usart.hpp"
#include "io/mcu/watch.hpp"

namespace stillrotor::io::mcu {

struct Connections {
  std::array<std::optional<Pin>, line_count> lines;  // by LineId
  AnalogInputs analog;
  double comparator_hysteresis_V = 0.0;
};

class Microcontroller final : public SimulatedController, public Watchable {
 public:
  /// The part is one of parts(). clock_Hz divides 1e12. The firmware fits (load_firmware checked
  /// it).
  /// The changes go into the EEPROM before the first start. Throws ConfigError.
  Microcontroller(const Part&, std::uint32_t clock_Hz, const Connections&, const Firmware&,
                  const std::vector<SettingChange>&);

  void power(double volts, Time, World&) override;
  Time run(Time horizon) noexcept override;
  void deliver(const Edge&) noexcept override;
  Health health() const noexcept override { return health_; }
  std::string_view diagnosis() const noexcept override { return diagnosis_; }
  std::vector<Setting> settings() const override { return settings_; }
  Variables variables() const override;
  void watch(WatchedValues& values) noexcept override { watched_ = &values; }

 private:
  void load_eeprom(const Firmware&, const std::vector<SettingChange>&);
  void restart(Cycle at, bool power_on) noexcept;
  void step() noexcept;
  void service_interrupts(bool out_of_sleep) noexcept;
  void fall_asleep() noexcept;
  void check_for_standstill() noexcept;
  void end(Health, std::string sentence) noexcept;
  bool watchdog_runs() const noexcept;
  void write_shared(const Write&) noexcept;
  void reset_prescalers(const Write&) noexcept;
  void write_timer_flags(const Write&) noexcept;
  void write_timer_mask(const Write&) noexcept;
  std::uint8_t read_timer_flags(Address, Cycle) noexcept;
  std::array<Timer*, 3> timers() noexcept { return {&timer0_, &timer1_, &timer2_}; }
  void on_horizon(Cycle) noexcept { core_.request_stop(); }
  void on_watch(Cycle) noexcept {}  // ends a stretch of instructions, as each event does
  void await_watch() noexcept;
  void read_variables() noexcept;

  const Part& part_;
  Core core_;
  Outside outside_;
  Interrupts interrupts_;
  Ports ports_;
  Prescaler prescaler_01_, prescaler_2_;
  Timer timer0_, timer1_, timer2_;
  Comparator comparator_;
  Adc adc_;
  Usart usart_;
  Unmodelled unmodelled_;
  avr_run_t undisturbed_run_;  // simavr's watchdog asks for a reset by replacing it
  bool powered_ = false;
  Health health_ = Health::running;
  std::string diagnosis_;
  std::vector<Setting> settings_;
  std::filesystem::path file_;
  WatchedValues* watched_ = nullptr;
};

}  // namespace stillrotor::io::mcu
