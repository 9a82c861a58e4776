#include "io/mcu/unmodelled.hpp"

#include <fmt/core.h>

namespace stillrotor::io::mcu {

Unmodelled::Unmodelled(const PowerLayout& layout, Core& core, const Ports& ports)
    : layout_(layout), core_(core), ports_(ports) {
  core.on_write<&Unmodelled::clock_prescaler>(layout.clock_divisor.at, this);
  core.on_write<&Unmodelled::asynchronous_timer>(layout.asynchronous.at, this);
  const auto& serial = core.avr()->io[layout.serial_interface - first_register].w;
  spi_write_ = serial.c;
  spi_param_ = serial.param;
  core.on_write<&Unmodelled::serial_interface>(layout.serial_interface, this);
}

void Unmodelled::clock_prescaler(const Write& write) noexcept {
  core_.reg(write.address) = write.value;
  if (write.value & layout_.clock_divisor.mask)
    core_.fail(
        fmt::format("The firmware divides its clock (CLKPR), which is not modelled, {}. Set "
                    "controller.clock to the divided clock and leave CLKPR alone.",
                    core_.where()));
}

void Unmodelled::asynchronous_timer(const Write& write) noexcept {
  core_.reg(write.address) = write.value & layout_.asynchronous.mask;  // never busy
  if (write.value & layout_.asynchronous.mask)
    core_.fail(
        fmt::format("The firmware clocks Timer2 from its own crystal, which is not "
                    "modelled, {}.",
                    core_.where()));
}

void Unmodelled::serial_interface(const Write& write) noexcept {
  for (const Pin pin : layout_.serial_pins)
    if ((write.value & bits::SPE) && ports_.is_output(pin))
      core_.fail(
          fmt::format("The firmware gives PB{}, a gate, to the SPI, {}.", pin.bit, core_.where()));
  core_.reg(write.address) = write.value;
  if (spi_write_ != nullptr) spi_write_(core_.avr(), write.address, write.value, spi_param_);
}

}  // namespace stillrotor::io::mcu
