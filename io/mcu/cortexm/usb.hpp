// USB OTG core without a cable: it can be set up, resets and flushes end, and nothing ever comes.
//
// Answers core ID, AHB idle, the mode that is forced (device, else), a session that is not valid
//        (no VBUS), a device speed. CSRST and the flushes are done at once. Interrupt flags of
//        endpoints and core clear by ones and never rise. All else keeps what is written.
// Source RM0090, 34.16 (registers of OTG_FS), 35 (OTG_HS: the same map); values from memory.
// RT     safe.
#pragma once

#include <array>

#include "io/mcu/cortexm/bus.hpp"

namespace stillrotor::io::cortexm {

class Usb final : public Peripheral {
 public:
  Usb() { reset(0); }
  Word read(Word offset, Cycle) noexcept override {
    if (offset >= end) return 0;  // FIFOs
    const Word kept = registers_[offset / 4];
    switch (offset) {
      case GOTGCTL:
        return (kept & ~0x000f0000u) | 0x00010000;  // B device, no session
      case GINTSTS:
        return (kept & ~1u) | (registers_[GUSBCFG / 4] >> 29 & 1);  // CMOD follows FHMOD
      default:
        return kept;
    }
  }
  void write(Word offset, Word value, Word mask, Cycle at) noexcept override {
    if (offset >= end || offset == CID || offset == DSTS) return;
    Word& kept = registers_[offset / 4];
    const Word merged = (kept & ~mask) | value;
    if (offset == GRSTCTL) {
      if (merged & 1) reset(at);  // CSRST
      registers_[GRSTCTL / 4] = idle | (merged & 0x7c0);
    } else if (offset == GINTSTS || offset == GOTGINT || is_endpoint_flags(offset)) {
      kept &= ~value;
    } else {
      kept = merged;
    }
  }
  void reset(Cycle) noexcept override {
    registers_ = {};
    registers_[GUSBCFG / 4] = 0x00000a00;
    registers_[GRSTCTL / 4] = idle;
    registers_[GINTSTS / 4] = 0x04000020;
    registers_[GRXFSIZ / 4] = 0x00000200;
    registers_[HNPTXFSIZ / 4] = 0x02000200;
    registers_[HNPTXSTS / 4] = 0x00080200;
    registers_[CID / 4] = 0x00001100;
    registers_[HPTXFSIZ / 4] = 0x02000600;
    registers_[DCFG / 4] = 0x02200000;
    registers_[DSTS / 4] = 0x00000010;
  }

 private:
  enum : Word {
    GOTGCTL = 0x00,
    GOTGINT = 0x04,
    GUSBCFG = 0x0c,
    GRSTCTL = 0x10,
    GINTSTS = 0x14,
    GRXFSIZ = 0x24,
    HNPTXFSIZ = 0x28,
    HNPTXSTS = 0x2c,
    CID = 0x3c,
    HPTXFSIZ = 0x100,
    DCFG = 0x800,
    DSTS = 0x808,
    end = 0x1000
  };
  static constexpr Word idle = 1u << 31;
  /// DIEPINTx and DOEPINTx; HCINTx.
  static bool is_endpoint_flags(Word offset) noexcept {
    return offset >= 0x500 && offset < 0xd00 && offset % 0x20 == 8 && offset != DSTS;
  }
  std::array<Word, end / 4> registers_{};
};

}  // namespace stillrotor::io::cortexm
