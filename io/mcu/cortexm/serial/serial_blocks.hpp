// SPI and I2C of a chip, wired to pins, DMA and processor.
//
// RT     safe after construction.
#pragma once

#include "io/mcu/cortexm/serial/i2c.hpp"
#include "io/mcu/cortexm/serial/spi.hpp"

namespace stillrotor::io::cortexm {

class SerialBlocks final : public PinFollower {
 public:
  SerialBlocks(const SerialPart& part, Core& core, const ClockTree& clocks, std::deque<Port>& ports,
               const CarryItem& carry, const Undone& undone) {
    constexpr Word block = 0x400;
    for (const SpiBlock& s : part.spis)
      core.bus().attach(s.base, block,
                        spis_.emplace_back(s, core, clocks,
                                           SerialLink(part, s.base, s.name, ports,
                                                      core.exceptions(), carry, undone)),
                        s.name);
    for (const I2cBlock& i : part.i2cs)
      core.bus().attach(i.base, block,
                        i2cs_.emplace_back(i, core, clocks,
                                           SerialLink(part, i.base, i.name, ports,
                                                      core.exceptions(), carry, undone)),
                        i.name);
  }
  void reset(Cycle at) noexcept {
    for (Spi& s : spis_) s.reset(at);
    for (I2c& i : i2cs_) i.reset(at);
  }
  /// A stream has been enabled: whoever waits for it is served.
  void serve(Cycle at) noexcept {
    for (Spi& s : spis_) s.serve(at);
    for (I2c& i : i2cs_) i.serve(at);
  }
  void configured(PinId id, Cycle at) noexcept override {
    for (Spi& s : spis_) s.configured(id, at);
    for (I2c& i : i2cs_) i.configured(id, at);
  }

 private:
  std::deque<Spi> spis_;
  std::deque<I2c> i2cs_;
};

}  // namespace stillrotor::io::cortexm
