// The orchard cart's firmware, driving: on the simulated part with its exact pins, timers and
// converter, and on the bare instruction simulator with its own, as the yardstick. Both see a motor
// at rest that answers at once, so nearly all of the time is the microcontroller.
// x_real_time: seconds of the firmware's life per second of the machine's.
#include <benchmark/benchmark.h>

#include <array>
#include <stdexcept>

#include "io/mcu/firmware.hpp"
#include "io/mcu/mcu.hpp"
#include "io/mcu/simavr.hpp"

extern "C" {
#include <simavr/avr_adc.h>
#include <simavr/avr_extint.h>
#include <simavr/avr_ioport.h>
#include <simavr/avr_uart.h>
}

namespace stillrotor::io {
namespace {

const char* const firmware = STILLROTOR_BUILD_DIR "/firmware/orchard_six_step.elf";
constexpr double rest_V = 0.85, driving_V = 2.2, zero_current_V = 2.5, bus_V = 2.4;
constexpr auto slice = std::chrono::milliseconds(10);

/// A motor at rest in the sector of Hall code 100.
class StillWorld final : public World {
 public:
  void drive(const Edge&) noexcept override { ++edges; }
  double volts(ChannelId id, Time) noexcept override {
    ++reads;
    return id == channel::throttle      ? throttle_V
           : id == channel::bus_voltage ? bus_V
                                        : zero_current_V;
  }
  Level level(LineId id, Time) noexcept override {
    return id == line::hall_U ? Level::high : Level::low;
  }
  void text(Time, std::string_view) noexcept override {}
  double throttle_V = rest_V;
  std::uint64_t edges = 0, reads = 0;
};

McuConfig wiring() {
  McuConfig config;
  config.firmware = firmware;
  const std::array pins = {"PD6", "PD2", "PD5", "PD4", "PB3", "PB0", "PC0", "PC1", "PC2"};
  for (std::size_t k = 0; k < pins.size(); ++k) config.line_pins[k] = pins[k];
  config.line_pins[index(line::brake)] = "PD7";
  config.adc_pins = {"ADC3", "ADC4", "ADC6", "ADC7", "ADC5"};
  return config;
}

void set_rate(benchmark::State& state) {
  state.counters["x_real_time"] = benchmark::Counter(std::chrono::duration<double>(slice).count(),
                                                     benchmark::Counter::kIsIterationInvariantRate);
}

/// Argument: look-ahead in microseconds.
void with_exact_peripherals(benchmark::State& state) {
  const Time look_ahead = std::chrono::microseconds(state.range(0));
  const auto controller = make_mcu(wiring());
  StillWorld world;
  Time now{};
  const auto run_until = [&](Time end) {
    while (now < end) now = controller->run(std::min(end, now + look_ahead));
  };
  controller->power(5.0, now, world);
  run_until(std::chrono::milliseconds(50));
  world.throttle_V = driving_V;
  run_until(std::chrono::milliseconds(600));
  world.edges = world.reads = 0;
  for (auto _ : state) run_until(now + slice);
  const double seconds =
      std::chrono::duration<double>(slice).count() * static_cast<double>(state.iterations());
  state.counters["edges_per_s"] = static_cast<double>(world.edges) / seconds;
  state.counters["samples_per_s"] = static_cast<double>(world.reads) / seconds;
  set_rate(state);
}
BENCHMARK(with_exact_peripherals)->Arg(1000)->Arg(100)->Arg(10)->Unit(benchmark::kMillisecond);

void put_volts(avr_t* avr, int input, double volts) {
  avr_raise_irq(avr_io_getirq(avr, AVR_IOCTL_ADC_GETIRQ, input),
                static_cast<std::uint32_t>(volts * 1000.0));
}

/// Argument: cycles that the simulator may run between two looks at its events (its default is 1).
void bare_simulator(benchmark::State& state) {
  avr_global_logger_set([](avr_t*, int, const char*, va_list) {});
  avr_t* avr = avr_make_mcu_by_name("atmega328p");
  if (avr == nullptr) throw std::runtime_error("the simulator does not know the part");
  avr_init(avr);
  avr->frequency = 16'000'000;
  avr->vcc = avr->avcc = avr->aref = 5000;
  auto image = mcu::load_firmware(firmware, mcu::atmega328p);
  avr_loadcode(avr, image.flash.data(), static_cast<std::uint32_t>(image.flash.size()), 0);
  std::uint32_t no_flags = 0;
  avr_ioctl(avr, AVR_IOCTL_UART_SET_FLAGS('0'), &no_flags);
  // Its model of INT0 and INT1 polls a low pin each cycle, interrupt enabled or not.
  avr_extint_set_strict_lvl_trig(avr, 0, 0);
  avr_extint_set_strict_lvl_trig(avr, 1, 0);
  avr->run_cycle_limit = static_cast<avr_cycle_count_t>(state.range(0));
  avr_raise_irq(avr_io_getirq(avr, AVR_IOCTL_IOPORT_GETIRQ('C'), 0), 1);
  for (const int current : {4, 6, 7}) put_volts(avr, current, zero_current_V);
  put_volts(avr, 5, bus_V);
  put_volts(avr, 3, rest_V);
  const auto run = [&](double seconds) {
    const auto end = avr->cycle + static_cast<avr_cycle_count_t>(seconds * 16e6);
    while (avr->cycle < end) avr_run(avr);
  };
  run(0.05);
  put_volts(avr, 3, driving_V);
  run(0.55);
  const double seconds = std::chrono::duration<double>(slice).count();
  for (auto _ : state) run(seconds);
  set_rate(state);
  avr_terminate(avr);
}
BENCHMARK(bare_simulator)->Arg(1)->Arg(1000)->Unit(benchmark::kMillisecond);

}  // namespace
}  // namespace stillrotor::io

BENCHMARK_MAIN();
