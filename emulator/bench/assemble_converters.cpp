// From the draft to the bench: converters of a controller on real wires, and what ends at them.
#include <charconv>
#include <cmath>
#include <limits>
#include <span>

#include "emulator/bench/assembly.hpp"
#include "emulator/bench/pairs.hpp"
#include "emulator/bench/wire_sources.hpp"
#include "io/analog/analog.hpp"
#include "io/analog/limits.hpp"

namespace stillrotor {
namespace {

std::string word_text(std::uint32_t word) { return fmt::format("{:#x}", word); }

std::string words_text(std::span<const std::uint32_t> words) {
  std::string text;
  for (const std::uint32_t word : words) text += (text.empty() ? "" : ", ") + word_text(word);
  return text;
}

class ConverterAssembly : public Assembly {
 public:
  using Assembly::Assembly;

  void assemble() {
    for (std::size_t k = 0; k < dac_names.size(); ++k)
      if (fitted(dac_names[k])) dac(d_.converters.dac[k], dac_names[k]);
    for (std::size_t k = 0; k < adc_names.size(); ++k)
      if (fitted(adc_names[k])) adc(d_.converters.adc[k], adc_names[k]);
    for (std::size_t k = 0; k < iio_names.size(); ++k)
      if (fitted(iio_names[k])) iio(d_.converters.iio[k], iio_names[k]);
    for (std::size_t k = 0; k < io::channel_count; ++k)
      channel(io::ChannelId(static_cast<std::uint16_t>(k)), d_.converters.channel[k]);
    gates();
    collect();
    timing();
    if (!anything_wrong_)
      for (const io::ConfigError& fault : io::faults(d_.bench.analog))
        wrong(fault.path, fmt::format("{}: {}", fault.path, fault.what()));
  }

 private:
  void wrong(std::string_view path, std::string_view sentence) {
    anything_wrong_ = true;
    Assembly::wrong(path, sentence);
  }

  static std::string path_of(const char* name) { return fmt::format("converters.{}", name); }
  bool fitted(const char* name) {
    if (mentioned(path_of(name))) return true;
    readings_.hide_defaults(path_of(name));
    return false;
  }
  bool there(const std::string& path) {
    if (readings_.given(path)) return true;
    wrong(path,
          fmt::format("{} is missing; allowed {}. What it is: {}.", path,
                      allowed(*readings_.at(path).parameter), readings_.at(path).parameter->text));
    return false;
  }

  // ---- converters

  /// A known part's frame is filled in where the file is silent; of another one it must be there.
  template <class Part>
  void frame(const std::string& path, Part& part, int& low_byte_first, const Part* known,
             const std::string& known_parts, std::vector<std::string> of_its_own) {
    if (!there(path + ".part")) return;
    if (known == nullptr) {
      std::string missing;
      for (const char* name :
           {"bits", "bytes", "address_shift", "address_bits", "mode", "clock_most"})
        of_its_own.emplace_back(name);
      for (const std::string& name : of_its_own)
        if (!readings_.given(fmt::format("{}.frame.{}", path, name)))
          missing += (missing.empty() ? "frame." : ", frame.") + name;
      if (!missing.empty())
        wrong(path + ".part",
              fmt::format("{}.part is {}; allowed {}, or any other with its frame described, and "
                          "{} is missing. Correct the number, or take them from its data sheet.",
                          path, part.name, known_parts, missing));
    }
    const Part otherwise = part;
    const Part& from = known != nullptr ? *known : otherwise;
    derive(path + ".frame.bits", part.bits, from.bits);
    derive(path + ".frame.bytes", part.frame_bytes, from.frame_bytes);
    derive(path + ".frame.first_byte", low_byte_first, from.low_byte_first ? 1 : 0);
    derive(path + ".frame.address_shift", part.address_shift, from.address_shift);
    derive(path + ".frame.address_bits", part.address_bits, from.address_bits);
    derive(path + ".frame.mode", part.mode, from.mode);
    derive(path + ".frame.clock_most", part.clock_most_Hz, from.clock_most_Hz);
    part.low_byte_first = low_byte_first != 0;
  }

  void bus(const std::string& path, io::SpiBus& bus, double clock_most_Hz) {
    there(path + ".device");
    there(path + ".reference");
    derive(path + ".clock", bus.clock_Hz, std::min(10e6, clock_most_Hz));
  }

  void dac(DacDraft& draft, const char* name) {
    io::SpiDacConfig& config = draft.config;
    config.name = name;
    const std::string path = path_of(name), frame_path = path + ".frame";
    const io::DacPart* known = io::find_dac_part(config.part.name);
    frame(path, config.part, draft.low_byte_first, known, io::known_dac_parts(),
          {"code_shift", "write"});
    const io::DacPart from = known != nullptr ? *known : io::DacPart{};
    derive(frame_path + ".code_shift", config.part.code_shift, from.code_shift);
    derive(frame_path + ".settling", config.part.settling_s, from.settling_s);
    derive(frame_path + ".write", draft.write, word_text(from.write));
    if (from.write_and_update_all)
      derive(frame_path + ".write_and_update", draft.write_and_update,
             word_text(*from.write_and_update_all));
    if (!from.start.empty()) derive(frame_path + ".start", draft.start, words_text(from.start));
    const int bytes = config.part.frame_bytes;
    config.part.write = word(frame_path + ".write", draft.write, bytes);
    if (!draft.write_and_update.empty())
      config.part.write_and_update_all =
          word(frame_path + ".write_and_update", draft.write_and_update, bytes);
    config.part.start = words(frame_path + ".start", draft.start, bytes);
    bus(path, config.bus, config.part.clock_most_Hz);
    latch(path + ".latch", draft);
  }

  void latch(const std::string& path, DacDraft& draft) {
    const bool chip = readings_.given(path + ".chip"), offset = readings_.given(path + ".offset");
    if (chip && offset)
      draft.config.latch =
          io::LatchLine{draft.latch_chip, static_cast<std::uint32_t>(draft.latch_offset),
                        draft.latch_active_high == 0};
    else if (chip || offset || readings_.given(path + ".active"))
      there(path + (chip ? ".offset" : ".chip"));
    else
      readings_.hide_defaults(path);
  }

  void adc(AdcDraft& draft, const char* name) {
    io::SpiAdcConfig& config = draft.config;
    config.name = name;
    const std::string path = path_of(name), frame_path = path + ".frame";
    const io::AdcPart* known = io::find_adc_part(config.part.name);
    frame(path, config.part, draft.low_byte_first, known, io::known_adc_parts(),
          {"convert", "result_shift"});
    const io::AdcPart from = known != nullptr ? *known : io::AdcPart{};
    derive(frame_path + ".result_shift", config.part.result_shift, from.result_shift);
    derive(frame_path + ".frames_late", config.part.frames_late, from.frames_late);
    derive(frame_path + ".convert", draft.convert, word_text(from.convert));
    config.part.convert = word(frame_path + ".convert", draft.convert, config.part.frame_bytes);
    bus(path, config.bus, config.part.clock_most_Hz);
  }

  void iio(io::IioConfig& config, const char* name) {
    config.name = name;
    there(path_of(name) + ".device");
  }

  std::uint32_t word(const std::string& path, std::string_view text, int bytes) {
    const std::size_t begin = std::min(text.find_first_not_of(' '), text.size());
    std::string_view digits = text.substr(begin, text.find_last_not_of(' ') + 1 - begin);
    const bool hexadecimal = digits.starts_with("0x");
    if (hexadecimal) digits.remove_prefix(2);
    std::uint64_t value = 0;
    const auto [end, error] =
        std::from_chars(digits.data(), digits.data() + digits.size(), value, hexadecimal ? 16 : 10);
    const std::uint64_t most = (std::uint64_t{1} << (8 * bytes)) - 1;
    if (error != std::errc{} || end != digits.data() + digits.size() || value > most)
      wrong(path, fmt::format("{} is \"{}\"; allowed {}, of 0 to {:#x}, the frame's {} bytes. Take "
                              "it from the part's data sheet.",
                              path, text, allowed(*readings_.at(path).parameter), most, bytes));
    return static_cast<std::uint32_t>(value);
  }

  std::vector<std::uint32_t> words(const std::string& path, std::string_view text, int bytes) {
    std::vector<std::uint32_t> all;
    while (!text.empty()) {
      const std::string_view one = text.substr(0, text.find(','));
      text.remove_prefix(std::min(text.size(), one.size() + 1));
      all.push_back(word(path, one, bytes));
    }
    return all;
  }

  // ---- wires that end at them

  /// False: the wire ends at none.
  bool ends(const std::string& path, const ConverterEnd& end, const char* converter,
            std::initializer_list<const char*> also) {
    if (end.wired()) {
      if (!mentioned(path_of(converter)))
        wrong(path + ".converter",
              fmt::format("{}.converter is {}, and the bench has none of that name; allowed one "
                          "that is described. Add converters.{}, or name another.",
                          path, converter, converter));
      there(path + ".address");
      return true;
    }
    for (const char* name : also)
      if (const std::string row = fmt::format("{}.{}", path, name); readings_.given(row))
        wrong(row, fmt::format("{} is given, and the wire ends at no converter; allowed beside "
                               "{}.converter. Add that, or remove this.",
                               row, path));
    for (const char* name : {"scale", "shift"}) readings_.hide_default(path + "." + name);
    return false;
  }

  io::CalibrationPoints calibration(const std::string& path, const ConverterEnd& end) {
    std::string problem;
    io::CalibrationPoints points;
    for (const auto& [shown_V, true_V] :
         read_pairs(end.calibration, Family::voltage, Family::voltage, problem))
      points.push_back({shown_V, true_V});
    if (!problem.empty())
      wrong(path + ".calibration",
            fmt::format("{}.calibration: {}; allowed pairs of what was shown and what a meter "
                        "said. Write it as {{0.5 V: 0.512 V, 4.5 V: 4.48 V}}.",
                        path, problem));
    return points;
  }

  void channel(io::ChannelId id, ConverterEnd& end) {
    const std::string path = fmt::format("harness.channels.{}", io::name(id));
    const char* const name = end.wired() ? dac_names[static_cast<std::size_t>(end.converter)] : "";
    if (!ends(path, end, name,
              {"address", "scale", "shift", "calibration", "least", "most", "safe"}))
      return;
    const double supply_V = d_.bench.controller_supply_V;
    derive(path + ".least", end.least_V, 0.0);
    derive(path + ".most", end.most_V, supply_V);
    if (end.most_V > supply_V)
      wrong(path + ".most",
            fmt::format("{}.most is {:g} V; allowed up to controller.supply, {:g} V: more feeds "
                        "the controller through its input. Lower it, or correct the supply.",
                        path, end.most_V, supply_V));
    io::AnalogOutput output{.channel = id,
                            .address = static_cast<std::uint32_t>(std::max(end.address, 0)),
                            .scale = end.scale,
                            .shift_V = end.shift_V,
                            .least_V = end.least_V,
                            .most_V = end.most_V,
                            .calibration = calibration(path, end)};
    if (readings_.given(path + ".safe")) output.safe_V = end.safe_V;
    d_.converters.dac[static_cast<std::size_t>(end.converter)].config.outputs.push_back(
        std::move(output));
  }

  void gates() {
    bool any = false;
    for (std::uint16_t k = 0; k < io::gate_count; ++k)
      any = gate(io::LineId(k), d_.converters.gate[k]) || any;
    if (!any) {
      readings_.hide_default("harness.gates.volts_tolerance");
      for (const char* row : {"harness.gates.volts_on", "harness.gates.volts_off"})
        if (readings_.given(row))
          wrong(row, fmt::format("{} is given, and no gate ends at a converter; allowed with "
                                 "harness.lines.gates.UH.converter and the others. Remove it.",
                                 row));
      return;
    }
    const bool high_is_on = d_.gates_active_high != 0;
    const double supply_V = d_.bench.controller_supply_V;
    derive("harness.gates.volts_on", d_.gate_on_V, high_is_on ? supply_V : 0.0);
    derive("harness.gates.volts_off", d_.gate_off_V, high_is_on ? 0.0 : supply_V);
    if (std::abs(d_.gate_on_V - d_.gate_off_V) < 0.1)
      wrong("harness.gates.volts_on",
            fmt::format("harness.gates.volts_on is {:g} V and volts_off {:g} V; allowed 0.1 V and "
                        "more apart. Measure both.",
                        d_.gate_on_V, d_.gate_off_V));
    filtered(static_cast<io::GateWires>(d_.wires.gates));
  }

  bool gate(io::LineId id, ConverterEnd& end) {
    const std::string path = fmt::format("harness.lines.{}", io::name(id));
    const auto which = static_cast<std::size_t>(std::max(end.converter, 0));
    const bool at_adc = which < adc_names.size();
    const char* const name = !end.wired() ? ""
                             : at_adc     ? adc_names[which]
                                          : iio_names[which - adc_names.size()];
    if (!ends(path, end, name, {"address", "scale", "shift", "calibration", "filter"}))
      return false;
    there(path + ".filter");
    for (const char* row : {"chip", "offset", "name", "bias", "inverted"})
      if (const std::string of_a_line = fmt::format("{}.{}", path, row); readings_.given(of_a_line))
        wrong(of_a_line, fmt::format("{} is of a line with edges, and {} ends at a converter; "
                                     "allowed one of them. Remove one.",
                                     of_a_line, path));
    io::AnalogInput input{.name = std::string(io::name(id)),
                          .address = static_cast<std::uint32_t>(std::max(end.address, 0)),
                          .scale = end.scale,
                          .shift_V = end.shift_V,
                          .filter_s = end.filter_s,
                          .calibration = calibration(path, end)};
    if (at_adc) {
      d_.converters.adc[which].config.inputs.push_back(std::move(input));
      return true;
    }
    io::IioConfig& iio = d_.converters.iio[which - adc_names.size()];
    iio.inputs.push_back(std::move(input));
    if (iio.sampling_Hz <= 0.0)
      wrong(path_of(name) + ".sampling",
            fmt::format("converters.{}.sampling is 0 Hz; allowed for gates: above it, for their "
                        "delay must be known. State it.",
                        name));
    return true;
  }

  void filtered(io::GateWires wires) {
    FilteredGateSettings settings{.complementary = wires == io::GateWires::three,
                                  .on_V = d_.gate_on_V,
                                  .off_V = d_.gate_off_V,
                                  .tolerance = d_.gate_tolerance};
    for (std::size_t k = 0; k < io::gate_count; ++k) {
      const ConverterEnd& end = d_.converters.gate[k];
      const std::string path =
          fmt::format("harness.lines.{}", io::name(io::LineId(static_cast<std::uint16_t>(k))));
      if (d_.line[k].wired() && !end.wired())
        wrong(path + ".offset",
              fmt::format("{} brings edges, and other gates averages; allowed all of one sort. Let "
                          "it end at a converter, or the others at lines.",
                          path));
      settings.filter_s = std::max(settings.filter_s, end.filter_s);
    }
    if (wires == io::GateWires::three_and_enable)
      wrong("controller.gate_wires",
            "controller.gate_wires is three_and_enable; allowed with gates that end at converters: "
            "six, three. An average says nothing of an enable.");
    const GateSettings& edges = d_.bench.cycle.gates;
    for (const auto& [row, asked] :
         {std::pair("cycle.gates.averaged", edges.averaged),
          std::pair("cycle.gates.overlap_tolerance", edges.overlap_tolerance_s > 0.0)})
      if (asked)
        wrong(row, fmt::format("{} is about edges, and this bench's gates come in as averages. "
                               "Remove it.",
                               row));
    d_.bench.cycle.gates.filtered = settings;
  }

  // ---- all together

  void collect() {
    io::AnalogConfig& all = d_.bench.analog;
    for (std::size_t k = 0; k < dac_names.size(); ++k)
      if (mentioned(path_of(dac_names[k]))) all.dacs.push_back(d_.converters.dac[k].config);
    for (std::size_t k = 0; k < adc_names.size(); ++k)
      if (mentioned(path_of(adc_names[k]))) all.adcs.push_back(d_.converters.adc[k].config);
    for (std::size_t k = 0; k < iio_names.size(); ++k)
      if (mentioned(path_of(iio_names[k]))) all.iio.push_back(d_.converters.iio[k]);
    all.priority = d_.converters.priority;
    all.core = d_.converters.core;
    all.wake_s = d_.converters.wake_s;
  }

  /// How many of the cycle's periods a transfer takes by its own settings.
  void timing() {
    io::AnalogConfig& all = d_.bench.analog;
    if (all.empty()) {
      for (const char* row : {"priority", "wake"})
        readings_.hide_default(fmt::format("converters.{}", row));
      all = {};
      return;
    }
    double periods = 1.0;
    for (const io::SpiDacConfig& dac : all.dacs)
      for (const io::AnalogOutput& output : dac.outputs)
        periods = std::max(periods, std::ceil(io::output_limits(all, dac, output).delay_s /
                                              d_.bench.cycle.period_s));
    const int whole = static_cast<int>(std::min(periods, 2000.0));
    derive("converters.stalled_after", d_.converters.stalled_after, std::max(8, 4 * whole));
    all.late_after_stores = static_cast<std::uint32_t>(whole + 1);
    all.stalled_after_stores = static_cast<std::uint32_t>(d_.converters.stalled_after);
  }

  bool anything_wrong_ = false;
};

}  // namespace

void assemble_converters(Readings& readings, Draft& draft, Problems& problems) {
  ConverterAssembly(readings, draft, problems).assemble();
}

}  // namespace stillrotor
