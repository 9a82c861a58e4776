#include "io/mcu/unmodelled.hpp"

#include <fmt/core.h>

namespace stillrotor::io::mcu {

Unmodelled::Unmodelled(Core& core, const Ports& ports) : core_(core), ports_(ports) {
  core.on_write<&Unmodelled::clock_prescaler>(reg::CLKPR, this);
  core.on_write<&Unmodelled::asynchronous_timer>(reg::ASSR, this);
  spi_write_ = core.avr()->io[reg::SPCR - 32].w.c;
  spi_param_ = core.avr()->io[reg::SPCR - 32].w.param;
  core.on_write<&Unmodelled::serial_interface>(reg::SPCR, this);
}

void Unmodelled::clock_prescaler(const Write& write) noexcept {
  core_.reg(write.address) = write.value;
  if (write.value & 0x0f)
    core_.fail(
        fmt::format("The firmware divides its clock (CLKPR), which is not modelled, {}. Set "
                    "controller.clock to the divided clock and leave CLKPR alone.",
                    core_.where()));
}

void Unmodelled::asynchronous_timer(const Write& write) noexcept {
  core_.reg(write.address) = write.value & 0x60;  // never busy
  if (write.value & 0x20)
    core_.fail(
        fmt::format("The firmware clocks Timer2 from its own crystal, which is not "
                    "modelled, {}.",
                    core_.where()));
}

void Unmodelled::serial_interface(const Write& write) noexcept {
  constexpr std::uint8_t enabled = 0x40;
  constexpr Pin slave_select{0, 2}, data_out{0, 3}, data_in{0, 4}, clock{0, 5};
  for (const Pin pin : {slave_select, data_out, data_in, clock})
    if ((write.value & enabled) && ports_.is_output(pin))
      core_.fail(
          fmt::format("The firmware gives PB{}, a gate, to the SPI, {}.", pin.bit, core_.where()));
  spi_write_(core_.avr(), write.address, write.value, spi_param_);
}

}  // namespace stillrotor::io::mcu
