#include "emulator/bench/magnet_tables.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <charconv>
#include <cmath>
#include <complex>
#include <map>
#include <numbers>

#include "emulator/bench/csv_table.hpp"

namespace stillrotor {
namespace {

constexpr double two_pi = 2.0 * std::numbers::pi;

/// Different values, rising; such as differ by rounding of their text are one.
std::vector<double> distinct(std::vector<double> values) {
  std::sort(values.begin(), values.end());
  const double slack = 1e-9 * (values.back() - values.front());
  std::vector<double> out;
  for (const double x : values)
    if (out.empty() || x - out.back() > slack) out.push_back(x);
  return out;
}

std::size_t index_of(const std::vector<double>& rising, double value) {
  const auto above = std::lower_bound(rising.begin(), rising.end(), value);
  if (above == rising.end()) return rising.size() - 1;
  const auto k = static_cast<std::size_t>(above - rising.begin());
  return k > 0 && value - rising[k - 1] < *above - value ? k - 1 : k;
}

/// Makes the half for negative i_q. False: psi_q is not 0 at i_q 0.
bool mirror(plant::FluxMapTable& t, std::size_t& wrong_d) {
  const std::size_t nd = t.i_d_A.size(), nq = t.i_q_A.size();
  double largest = 0.0;
  for (const double psi : t.psi_q_Wb) largest = std::max(largest, std::abs(psi));
  plant::FluxMapTable whole{t.i_d_A, {}, {}, {}};
  for (std::size_t q = nq; q-- > 1;) whole.i_q_A.push_back(-t.i_q_A[q]);
  whole.i_q_A.insert(whole.i_q_A.end(), t.i_q_A.begin(), t.i_q_A.end());
  for (std::size_t d = 0; d < nd; ++d) {
    if (std::abs(t.psi_q_Wb[d * nq]) > 0.005 * largest) {
      wrong_d = d;
      return false;
    }
    for (std::size_t q = nq; q-- > 1;) {
      whole.psi_d_Wb.push_back(t.psi_d_Wb[d * nq + q]);
      whole.psi_q_Wb.push_back(-t.psi_q_Wb[d * nq + q]);
    }
    for (std::size_t q = 0; q < nq; ++q) {
      whole.psi_d_Wb.push_back(t.psi_d_Wb[d * nq + q]);
      whole.psi_q_Wb.push_back(q == 0 ? 0.0 : t.psi_q_Wb[d * nq + q]);
    }
  }
  t = std::move(whole);
  return true;
}

/// Whole turns that the angles span, as 1 / parts; 0: not in equal steps or no whole part, said.
int parts_of_a_turn(CsvTable& table, Problems& problems, bool whole_turn_only) {
  std::vector<double>&angle = table.columns[0], &value = table.columns[1];
  const auto refuse = [&](std::size_t row, const std::string& what) {
    problems.add(
        table.at(row),
        fmt::format("{}; allowed rising angles in equal steps over {}. Measure or "
                    "interpolate it so.",
                    what, whole_turn_only ? "one turn" : "one turn or a whole part of it"));
    return 0;
  };
  if (angle.size() < 8) return refuse(angle.size() - 1, fmt::format("{} rows", angle.size()));
  double step = (angle.back() - angle.front()) / static_cast<double>(angle.size() - 1);
  for (std::size_t k = 1; k < angle.size(); ++k)
    if (!(angle[k] > angle[k - 1]) ||
        std::abs(angle[k] - angle.front() - static_cast<double>(k) * step) > 0.02 * step)
      return refuse(k, fmt::format("the angle is {:g} deg after {:g} deg",
                                   angle[k] * 360.0 / two_pi, angle[k - 1] * 360.0 / two_pi));
  const auto whole = [&](double span) {
    const double parts = two_pi / span;
    const int near = static_cast<int>(std::lround(parts));
    return near >= 1 && std::abs(parts / near - 1.0) < 1e-4 && (near == 1 || !whole_turn_only)
               ? near
               : 0;
  };
  // The last row may repeat the first.
  if (const int parts = whole(angle.back() - angle.front())) {
    const auto [least, most] = std::minmax_element(value.begin(), value.end());
    if (std::abs(value.back() - value.front()) > 0.02 * (*most - *least))
      return refuse(angle.size() - 1, "the last value is not the first one, a period earlier");
    angle.pop_back();
    value.pop_back();
    return parts;
  }
  if (const int parts = whole(angle.back() - angle.front() + step)) return parts;
  return refuse(angle.size() - 1, fmt::format("the angles span {:g} deg",
                                              (angle.back() - angle.front()) * 360.0 / two_pi));
}

/// Complex amplitude of the m-th harmonic: value = sum Re(c_m exp(j m x)), x from angle 0.
std::complex<double> harmonic(const CsvTable& t, int m, int parts) {
  std::complex<double> sum = 0.0;
  const auto& value = t.columns[1];
  for (std::size_t k = 0; k < value.size(); ++k)
    sum += value[k] * std::polar(1.0, -m * parts * t.columns[0][k]);
  return sum * (m == 0 ? 1.0 : 2.0) / static_cast<double>(value.size());
}

}  // namespace

plant::FluxMapTable read_flux_map(const std::filesystem::path& path, const Place& asked_at,
                                  Problems& problems) {
  const CsvColumn columns[] = {{"i_d", {Family::current}},
                               {"i_q", {Family::current}},
                               {"psi_d", {Family::flux_linkage}},
                               {"psi_q", {Family::flux_linkage}}};
  const auto csv = read_csv(path, asked_at, columns, problems);
  if (!csv) return {};
  const auto &i_d = csv->columns[0], &i_q = csv->columns[1];
  plant::FluxMapTable t{distinct(i_d), distinct(i_q), {}, {}};
  const std::size_t nq = t.i_q_A.size(), points = t.i_d_A.size() * nq;
  const Place file{csv->file, 0, 0};
  if (points > 160'000) {
    problems.add(file,
                 fmt::format("{} currents i_d and {} i_q; allowed up to 400 each, every i_d with "
                             "every i_q.",
                             t.i_d_A.size(), nq));
    return {};
  }
  std::vector<std::size_t> row_of(points, i_d.size());
  t.psi_d_Wb.resize(points);
  t.psi_q_Wb.resize(points);
  for (std::size_t row = 0; row < i_d.size(); ++row) {
    const std::size_t at = index_of(t.i_d_A, i_d[row]) * nq + index_of(t.i_q_A, i_q[row]);
    if (row_of[at] < i_d.size()) {
      problems.add(csv->at(row),
                   fmt::format("i_d {:g} A, i_q {:g} A stand already in line {}; allowed "
                               "once. Remove one.",
                               i_d[row], i_q[row], csv->lines[row_of[at]]));
      return {};
    }
    row_of[at] = row;
    t.psi_d_Wb[at] = csv->columns[2][row];
    t.psi_q_Wb[at] = csv->columns[3][row];
  }
  for (std::size_t at = 0; at < points; ++at)
    if (row_of[at] == i_d.size()) {
      problems.add(file,
                   fmt::format("there is no row for i_d {:g} A, i_q {:g} A; allowed a rectangular "
                               "grid, every i_d with every i_q.",
                               t.i_d_A[at / nq], t.i_q_A[at % nq]));
      return {};
    }
  const std::vector<double> measured_q = t.i_q_A;
  std::size_t wrong_d = 0;
  if (t.i_q_A.front() == 0.0 && !mirror(t, wrong_d)) {
    problems.add(
        csv->at(row_of[wrong_d * nq]),
        "psi_q is not 0 at i_q 0; allowed 0.5 % of the largest. Shift the measurement, or give "
        "negative i_q as well.");
    return {};
  }
  try {
    const plant::FluxMap map(t);
  } catch (const plant::FluxMapError& error) {
    const std::size_t row =
        row_of[index_of(t.i_d_A, error.i_d_A) * nq +
               index_of(measured_q,
                        measured_q.front() == 0.0 ? std::abs(error.i_q_A) : error.i_q_A)];
    problems.add(csv->at(row), error.what());
    return {};
  }
  return t;
}

BackEmfTable read_back_emf(const std::filesystem::path& path, const Place& asked_at,
                           int highest_order, Problems& problems) {
  const CsvColumn columns[] = {
      {"angle", {Family::angle}},
      {"back_emf", {Family::speed_constant, Family::voltage, Family::ratio}}};
  auto csv = read_csv(path, asked_at, columns, problems);
  if (!csv || parts_of_a_turn(*csv, problems, true) == 0) return {};
  const std::complex<double> first = harmonic(*csv, 1, 1);
  const double size = std::abs(first);
  const Place file{csv->file, 0, 0};
  double all = 0.0;
  for (const double x : csv->columns[1]) all = std::max(all, std::abs(x));
  if (size < 0.2 * all) {
    problems.add(
        file, fmt::format("its fundamental is {:.2g} of its peak; allowed one electrical turn of "
                          "one phase. Is the angle mechanical?",
                          size / all));
    return {};
  }
  BackEmfTable out;
  if (csv->families[1] == Family::speed_constant) out.fundamental_Vs_rad = size;
  out.left_out = std::abs(harmonic(*csv, 0, 1)) / size;
  int worst = 0;
  std::string_view why = "constant part";
  out.shape.push_back({1, 1.0});
  const int most = std::min<int>(highest_order, static_cast<int>(csv->columns[1].size() - 1) / 2);
  // The plant's phase is -sin: Re(j exp(jx)). Turned by its own phase, order n turns n times.
  const double turn = std::arg(first) - std::numbers::pi / 2.0;
  for (int n = 2; n <= most; ++n) {
    const std::complex<double> c = harmonic(*csv, n, 1) / size * std::polar(1.0, -n * turn);
    const double in_step = n % 2 == 0 ? 0.0 : c.imag();
    const double left = n % 2 == 0 ? std::abs(c) : std::abs(c.real());
    if (left > out.left_out)
      out.left_out = left, worst = n, why = n % 2 == 0 ? "even order" : "part out of step";
    if (std::abs(in_step) > 1e-6) out.shape.push_back({n, in_step});
  }
  if (out.left_out > 0.02) {
    problems.add(
        file,
        fmt::format("{}{} of the back-EMF is {:.1f} % of its fundamental; allowed 2 %. Two poles "
                    "of a turn must be alike, and the shape symmetrical about its zero: look for "
                    "an offset, or average over the pole pairs.",
                    why, worst > 0 ? fmt::format(" (order {})", worst) : "", out.left_out * 100.0));
    return {};
  }
  return out;
}

std::vector<plant::CoggingHarmonic> read_cogging(const std::filesystem::path& path,
                                                 const Place& asked_at, Problems& problems) {
  const CsvColumn columns[] = {{"angle", {Family::angle}}, {"torque", {Family::torque}}};
  auto csv = read_csv(path, asked_at, columns, problems);
  if (!csv) return {};
  const int parts = parts_of_a_turn(*csv, problems, false);
  if (parts == 0) return {};
  double largest = 0.0;
  for (const double x : csv->columns[1]) largest = std::max(largest, std::abs(x));
  const double constant = harmonic(*csv, 0, parts).real();
  if (std::abs(constant) > 0.05 * largest) {
    problems.add(
        {csv->file, 0, 0},
        fmt::format("the mean torque is {:g} N m; allowed 5 % of the largest, {:g} N m. It is "
                    "friction, not cogging: take it out.",
                    constant, largest));
    return {};
  }
  std::vector<plant::CoggingHarmonic> out;
  const int most = static_cast<int>(csv->columns[1].size() - 1) / 2;
  for (int m = 1; m <= most && m * parts <= 2000; ++m) {
    const std::complex<double> c =
        harmonic(*csv, m, parts);  // A sin(x + phi) = Re(-j A e^(j phi) ..)
    if (std::abs(c) > 1e-4 * largest)
      out.push_back({m * parts, std::abs(c), std::arg(c) + std::numbers::pi / 2.0});
  }
  return out;
}

std::vector<plant::CoggingHarmonic> read_cogging_harmonics(std::string_view text,
                                                           std::string& problem) {
  std::vector<plant::CoggingHarmonic> out;
  while (!text.empty()) {
    const std::string_view pair = text.substr(0, text.find(','));
    text.remove_prefix(std::min(pair.size() + 1, text.size()));
    const std::size_t colon = pair.find(':');
    const std::string_view left = pair.substr(std::min(pair.find_first_not_of(" {"), pair.size()));
    plant::CoggingHarmonic h;
    const auto [rest, error] = std::from_chars(left.data(), left.data() + left.size(), h.order);
    if (colon == std::string_view::npos || error != std::errc{} || rest != pair.data() + colon ||
        h.order < 1 || h.order > 2000) {
      problem = fmt::format("\"{}\" is no pair of an order, 1 to 2000 a turn, and a torque", pair);
      return out;
    }
    std::string_view right = pair.substr(colon + 1);
    if (right.ends_with('}')) right.remove_suffix(1);
    const std::size_t at = right.find(" at ");
    const Conversion torque = to_si(right.substr(0, at), Family::torque);
    const Conversion phase =
        at == std::string_view::npos ? Conversion{} : to_si(right.substr(at + 4), Family::angle);
    if (!torque || !phase) {
      problem = fmt::format("order {}: {}", h.order, torque ? phase.problem : torque.problem);
      return out;
    }
    h.amplitude_Nm = torque.si;
    h.phase_rad = phase.si;
    out.push_back(h);
  }
  return out;
}

}  // namespace stillrotor
