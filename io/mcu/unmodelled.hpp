// Parts of the chip that are not modelled and would change what the pins or the time do: a firmware
// that switches one on is stopped with a sentence, so that no run is silently wrong.
//
// RT     allocates only for the sentence.
#pragma once

#include "io/mcu/core.hpp"
#include "io/mcu/parts/part.hpp"
#include "io/mcu/ports.hpp"

namespace stillrotor::io::mcu {

class Unmodelled {
 public:
  Unmodelled(const PowerLayout&, Core&, const Ports&);

 private:
  void clock_prescaler(const Write&) noexcept;
  void asynchronous_timer(const Write&) noexcept;
  void serial_interface(const Write&) noexcept;

  const PowerLayout& layout_;
  Core& core_;
  const Ports& ports_;
  avr_io_write_t spi_write_;
  void* spi_param_;
};

}  // namespace stillrotor::io::mcu
