// stillrotor record: what is in a record, and its signals as a table.
#include <fmt/core.h>

#include <memory>
#include <string>
#include <system_error>
#include <vector>

#include "emulator/bench/input_error.hpp"
#include "emulator/bench/units.hpp"
#include "emulator/cli/commands.hpp"
#include "emulator/cli/options.hpp"
#include "emulator/cli/program.hpp"
#include "emulator/record/csv_export.hpp"
#include "emulator/record/record_reader.hpp"
#include "emulator/record/record_text.hpp"
#include "emulator/record/vcd_export.hpp"

namespace stillrotor {
namespace {

struct Request {
  std::string record, csv, vcd, from, to;
  std::vector<std::string> signals;
};

double seconds(const std::string& option, const std::string& text) {
  const Conversion time = to_si(text, Family::time);
  if (!time) throw InputError(fmt::format("{}: {}.", option, time.problem));
  if (time.si < 0.0)
    throw InputError(
        fmt::format("{} is {}; allowed from 0 s. A record begins at 0 s.", option, text));
  return time.si;
}

void print_info(const Request& request) {
  fmt::print("{}", record_text(RecordReader(request.record)));
}

void export_it(const Request& request) {
  if (!request.vcd.empty()) export_vcd(RecordReader(request.record), request.vcd);
  if (request.csv.empty()) return;
  CsvSelection selection;
  selection.signals = request.signals;
  if (!request.from.empty()) selection.from_s = seconds("--from", request.from);
  if (!request.to.empty()) selection.to_s = seconds("--to", request.to);
  export_csv(RecordReader(request.record), selection, request.csv,
             firmware_signals(request.record));
}

/// What cannot be read is the request's fault; only the system's refusals are the host's.
template <class Do>
int status_of(Do&& act, const Request& request) {
  try {
    act(request);
    return 0;
  } catch (const std::system_error& error) {
    return report(error);
  } catch (const std::exception& error) {
    report(error);
    return exit_request_wrong;
  }
}

}  // namespace

void add_record(Command& program, int& status) {
  const auto request = std::make_shared<Request>();
  Command record = program.add("record", "Look into a record, or take signals out of it");
  record.needs_command();

  Command info = record.add("info", "What is in a record");
  info.option("RECORD", request->record, "a run's folder, or its record.h5").required();
  info.footer(R"(Example:
  stillrotor record info runs/<folder>

Works on a record that was cut short, too. Exit status: 0; 2 not a record.)");
  info.does([request, &status] { status = status_of(print_info, *request); });

  Command out =
      record.add("export", "Signals as comma-separated values, lines for waveform viewers");
  out.option("RECORD", request->record, "a run's folder, or its record.h5").required();
  out.option("--csv", request->csv, "signals on the grid: file to write");
  out.option("--vcd", request->vcd, "all edges of all lines (IEEE 1364): file to write");
  out.needs_options(2);
  out.option("--signals", request->signals,
             "names, with commas between (default: all); `list signals` shows them; also "
             "<name>.least, <name>.greatest where there are such")
      .separated_by(',');
  out.option("--from", request->from, "begin, with unit (default: 0 s)");
  out.option("--to", request->to, "end, with unit (default: the record's end)");
  out.footer(R"(Examples:
  stillrotor record export runs/<folder> --csv drive.csv
  stillrotor record export runs/<folder> --csv start.csv --signals speed,torque --to "200 ms"
  stillrotor record export runs/<folder> --vcd gates.vcd

HDF5 needs no export: record.h5 is in an open format. Exit status: 0; 2 the request
is wrong or no record; 4 the disk refused.)");
  out.does([request, &status] { status = status_of(export_it, *request); });
}

}  // namespace stillrotor
