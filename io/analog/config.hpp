// Settings of a bench's analog outputs and inputs on a board: converters on SPI, described by data,
// and buffered inputs of the kernel's industrial I/O (IIO).
// Units volts at the wire, seconds, Hz.
// Names as a bench file has them, so that a complaint names its row: of a converter
//       `converters.<name>`, of an output `harness.channels.<channel>`, of an input
//       `harness.lines.<name>`.
// Words  part: the converter chip. frame: what goes over the bus between one select and the next.
//        shown: what the part was asked for, or reads. true: what a meter shows at the wire.
#pragma once

#include <cstdint>
#include <limits>
#include <optional>
#include <string>
#include <vector>

#include "io/connector.hpp"

namespace stillrotor::io {

/// How a digital-to-analog converter is spoken to. A frame is `write` (or write_and_update_all),
/// the channel's address and the code, each shifted to its place; unused bits are 0.
struct DacPart {
  std::string name{};
  int bits = 12;        // of the code, 8 to 16; straight binary, all ones is the full range
  int frame_bytes = 2;  // 1 to 4
  bool low_byte_first = false;
  int code_shift = 0;  // bits below the code
  int address_shift = 0, address_bits = 1;
  std::uint32_t write = 0;  // the other bits of a frame that writes one channel
  /// The same, and all channels then take over at once what was written to them.
  std::optional<std::uint32_t> write_and_update_all{};
  std::vector<std::uint32_t>
      start{};   // frames sent once at set-up, such as "internal reference on"
  int mode = 0;  // of SPI, 0 to 3
  double clock_most_Hz = 20e6;
  double settling_s = 10e-6;

  bool operator==(const DacPart&) const = default;
};

/// How an analog-to-digital converter is spoken to. A frame is `convert` and the channel's address.
struct AdcPart {
  std::string name{};
  int bits = 12;
  int frame_bytes = 2;
  bool low_byte_first = false;
  int address_shift = 0, address_bits = 3;
  std::uint32_t convert = 0;
  int result_shift = 0;  // bits below the result in the frame that answers
  int frames_late = 0;   // the answer comes so many frames after the question, 0 to 2
  int mode = 0;
  double clock_most_Hz = 2e6;

  bool operator==(const AdcPart&) const = default;
};

/// Known parts, by part number ("ad5628"); nullptr: not among them, describe it.
const DacPart* find_dac_part(std::string_view name) noexcept;
const AdcPart* find_adc_part(std::string_view name) noexcept;
/// "ad5628, ad5668, ..."
std::string known_dac_parts();
std::string known_adc_parts();

struct SpiBus {
  std::string device = "/dev/spidev0.0";
  double clock_Hz = 10e6;
  /// Between two frames of one message. The kernel holds the select off for 10 us there, whatever
  /// the part needs, and gives spidev no say in it.
  double gap_s = 10e-6;
  double message_s = 15e-6;  // system call and driver for one message; declared until measured

  bool operator==(const SpiBus&) const = default;
};

/// Two: a straight line. More: straight between them. None: as the part's numbers say.
struct CalibrationPoint {
  double shown_V = 0.0, true_V = 0.0;

  bool operator==(const CalibrationPoint&) const = default;
};
using CalibrationPoints = std::vector<CalibrationPoint>;

struct AnalogOutput {
  ChannelId channel{};
  std::uint32_t address = 0;  // what goes into the frame's address bits
  double scale = 1.0;         // volts at the wire per volt of the part; negative: inverting
  double shift_V = 0.0;       // at the wire while the part puts out 0 V
  double least_V = -std::numeric_limits<double>::infinity();  // never beyond, whatever is asked;
  double most_V = std::numeric_limits<double>::infinity();    // protects the controller's input
  /// On the wire whenever the bench does not run; a current channel's is its zero-current offset.
  double safe_V = std::numeric_limits<double>::quiet_NaN();  // must be set
  CalibrationPoints calibration{};

  bool operator==(const AnalogOutput&) const = default;
};

/// A line of a GPIO character device whose pulse makes all channels take over what was written.
struct LatchLine {
  std::string chip = "/dev/gpiochip0";
  std::uint32_t offset = 0;
  bool active_low = true;

  bool operator==(const LatchLine&) const = default;
};

struct SpiDacConfig {
  std::string name = "dac_a";
  DacPart part{};
  SpiBus bus{};
  double reference_V = 0.0;  // > 0
  double gain = 1.0;         // of the part's output amplifier: its range is reference times gain
  std::optional<LatchLine> latch{};
  std::vector<AnalogOutput> outputs{};

  bool operator==(const SpiDacConfig&) const = default;
};

struct AnalogInput {
  std::string name{};         // of what it reads: "gates.UH"
  std::uint32_t address = 0;  // in the frame's address bits; IIO: N of in_voltageN
  double scale = 1.0;         // volts at the wire per volt at the part
  double shift_V = 0.0;       // at the wire while the part sees 0 V
  double filter_s = 0.0;      // time constant of the RC filter before it
  CalibrationPoints calibration{};

  bool operator==(const AnalogInput&) const = default;
};

struct SpiAdcConfig {
  std::string name = "adc_a";
  AdcPart part{};
  SpiBus bus{};
  double reference_V = 0.0;  // > 0
  double gain = 1.0;         // of an amplifier inside the part
  double period_s = 1e-3;    // from one round of all inputs to the next, 50 us to 1 s
  std::vector<AnalogInput> inputs{};

  bool operator==(const SpiAdcConfig&) const = default;
};

struct IioConfig {
  std::string name = "iio_a";
  std::string device{};      // "iio:device0", or what its file `name` says
  double sampling_Hz = 0.0;  // 0: as it stands
  std::string trigger{};     // empty: as it stands
  int buffer_scans = 64;     // of the kernel's buffer, 2 to 65536
  int watermark_scans = 1;   // it wakes us after so many, 1 to buffer_scans
  std::string sysfs = "/sys/bus/iio/devices", dev = "/dev";
  std::vector<AnalogInput> inputs{};

  bool operator==(const IioConfig&) const = default;
};

struct AnalogConfig {
  std::vector<SpiDacConfig> dacs{};
  std::vector<SpiAdcConfig> adcs{};
  std::vector<IioConfig> iio{};
  int priority = 0;       // SCHED_FIFO of the buses' threads, 1 to 98; 0: ordinary threads
  int core = -1;          // to which they are bound; < 0: any
  double wake_s = 50e-6;  // until such a thread runs; declared until measured
  /// So many stores without one finished transfer, and the values on the wires are late.
  std::uint32_t late_after_stores = 2;
  /// So many, and the wires no longer follow.
  std::uint32_t stalled_after_stores = 8;

  bool empty() const noexcept { return dacs.empty() && adcs.empty() && iio.empty(); }
  bool operator==(const AnalogConfig&) const = default;
};

}  // namespace stillrotor::io
