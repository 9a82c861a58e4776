#include "plant/machine/flux_map.hpp"

#include <algorithm>
#include <charconv>
#include <cmath>
#include <limits>

namespace stillrotor::plant {
namespace {

/// Four digits, as people write them.
std::string text(double x) {
  char digits[32];
  const auto end = std::to_chars(digits, digits + sizeof digits, x, std::chars_format::general, 4);
  return {digits, end.ptr};
}

std::string place(double i_d, double i_q) {
  return "i_d " + text(i_d) + " A, i_q " + text(i_q) + " A";
}

// A cubic spline is a list of values and a list of slopes at the nodes.
using List = std::vector<double>;

/// Slopes of the C2 cubic spline through f with these slopes at its ends (tridiagonal system).
List spline_slopes(const List& x, const List& f, double first, double last) {
  const std::size_t n = x.size();
  List slope(n), upper(n, 0.0);
  slope[0] = first;
  for (std::size_t k = 1; k + 1 < n; ++k) {
    const double a = x[k] - x[k - 1], b = x[k + 1] - x[k];
    const double right = 3.0 * (b / a * (f[k] - f[k - 1]) + a / b * (f[k + 1] - f[k]));
    const double pivot = 2.0 * (a + b) - b * upper[k - 1];
    upper[k] = a / pivot;
    slope[k] = (right - b * slope[k - 1]) / pivot;
  }
  slope[n - 1] = last;
  for (std::size_t k = n - 1; k-- > 1;) slope[k] -= upper[k] * slope[k + 1];
  return slope;
}

/// Derivative at x[at] of the cubic through four neighbours from x[from] on.
double four_point_slope(const List& x, const List& f, std::size_t from, std::size_t at) {
  double sum = 0.0;
  for (std::size_t k = from; k < from + 4; ++k) {
    double weight = 0.0;  // derivative of the k-th Lagrange polynomial
    for (std::size_t j = from; j < from + 4; ++j) {
      if (j == k) continue;
      double product = 1.0 / (x[k] - x[j]);
      for (std::size_t m = from; m < from + 4; ++m)
        if (m != k && m != j) product *= (x[at] - x[m]) / (x[k] - x[m]);
      weight += product;
    }
    sum += weight * f[k];
  }
  return sum;
}

List spline_slopes(const List& x, const List& f) {
  const std::size_t n = x.size();
  return spline_slopes(x, f, four_point_slope(x, f, 0, 0), four_point_slope(x, f, n - 4, n - 1));
}

/// Integral of the spline over each interval.
List spline_integrals(const List& x, const List& f) {
  const List slope = spline_slopes(x, f);
  List out(x.size() - 1);
  for (std::size_t k = 0; k + 1 < x.size(); ++k) {
    const double h = x[k + 1] - x[k];
    out[k] = 0.5 * h * (f[k] + f[k + 1]) + h * h / 12.0 * (slope[k] - slope[k + 1]);
  }
  return out;
}

void check_axis(const List& nodes, const char* name) {
  const auto wrong = [&](const std::string& what) {
    const double at = nodes.empty() ? 0.0 : nodes.front();
    throw FluxMapError(std::string("machine.flux_map: ") + name + what, at, at);
  };
  if (nodes.size() < 4 || nodes.size() > 400)
    wrong(" has " + std::to_string(nodes.size()) + " currents; allowed 4 to 400.");
  double narrowest = std::numeric_limits<double>::infinity();
  for (std::size_t k = 0; k < nodes.size(); ++k) {
    if (!std::isfinite(nodes[k])) wrong(" holds a current that is no number.");
    if (k > 0) narrowest = std::min(narrowest, nodes[k] - nodes[k - 1]);
  }
  if (!(narrowest > 0.0)) wrong("'s currents do not rise; sort them, each once.");
  if (nodes.front() > 0.0 || nodes.back() < 0.0)
    wrong(" reaches from " + text(nodes.front()) + " to " + text(nodes.back()) +
          " A; it must enclose 0 A.");
  if ((nodes.back() - nodes.front()) / narrowest > 2000.0)
    wrong(" has steps as narrow as " + text(narrowest) +
          " A; allowed a 2000th of its span or more.");
}

}  // namespace

FluxMapAxis::FluxMapAxis(std::vector<double> nodes) : nodes_(std::move(nodes)) {
  double narrowest = std::numeric_limits<double>::infinity();
  for (std::size_t k = 1; k < nodes_.size(); ++k)
    narrowest = std::min(narrowest, nodes_[k] - nodes_[k - 1]);
  // Buckets half as wide as the narrowest step, the first one beginning below the first node.
  per_A_ = 2.0 / narrowest;
  low_ = nodes_.front() - 0.5 / per_A_;
  const auto bucket = [this](double x) { return static_cast<std::size_t>((x - low_) * per_A_); };
  const std::size_t buckets = bucket(nodes_.back()) + 1;
  last_ = static_cast<double>(buckets - 1);
  for (std::size_t b = 0; b < buckets; ++b)
    below_.push_back(static_cast<int>(
        std::count_if(nodes_.begin(), nodes_.end(), [&](double x) { return bucket(x) < b; })));
  upper_ = nodes_;
  upper_.push_back(std::numeric_limits<double>::infinity());
  origin_.push_back(nodes_.front());
  origin_.insert(origin_.end(), nodes_.begin(), nodes_.end());
}

FluxMap::FluxMap(const FluxMapTable& table)
    : d_((check_axis(table.i_d_A, "i_d"), table.i_d_A)),
      q_((check_axis(table.i_q_A, "i_q"), table.i_q_A)) {
  const std::size_t points = table.i_d_A.size() * table.i_q_A.size();
  if (table.psi_d_Wb.size() != points || table.psi_q_Wb.size() != points)
    throw FluxMapError("machine.flux_map: the tables do not fill the grid of currents.", 0.0, 0.0);
  for (std::size_t k = 0; k < points; ++k)
    if (!std::isfinite(table.psi_d_Wb[k]) || !std::isfinite(table.psi_q_Wb[k]))
      throw FluxMapError("machine.flux_map: a flux is no number.",
                         table.i_d_A[k / table.i_q_A.size()], table.i_q_A[k % table.i_q_A.size()]);
  fit(table);
  check_nodes(table);
  look_at_inductances();
  at_rest_ = at(0.0, 0.0);
  coenergy_at_rest_ = -field_J(0.0, 0.0);
}

void FluxMap::fit(const FluxMapTable& t) {
  const std::size_t nd = t.i_d_A.size(), nq = t.i_q_A.size();
  const auto column = [nd, nq](const List& f, std::size_t q) {
    List out(nd);
    for (std::size_t d = 0; d < nd; ++d) out[d] = f[d * nq + q];
    return out;
  };
  const auto row = [nq](const List& f, std::size_t d) {
    return List(f.begin() + static_cast<std::ptrdiff_t>(d * nq),
                f.begin() + static_cast<std::ptrdiff_t>((d + 1) * nq));
  };

  // Co-energy gained along each side of each cell.
  std::vector<List> along_d(nq), along_q(nd);
  for (std::size_t q = 0; q < nq; ++q)
    along_d[q] = spline_integrals(t.i_d_A, column(t.psi_d_Wb, q));
  for (std::size_t d = 0; d < nd; ++d) along_q[d] = spline_integrals(t.i_q_A, row(t.psi_q_Wb, d));

  mean_H_ = 0.5 * ((t.psi_d_Wb[(nd - 1) * nq] - t.psi_d_Wb[0]) / (t.i_d_A[nd - 1] - t.i_d_A[0]) +
                   (t.psi_q_Wb[nq - 1] - t.psi_q_Wb[0]) / (t.i_q_A[nq - 1] - t.i_q_A[0]));
  if (!(mean_H_ > 0.0))
    throw FluxMapError("machine.flux_map: the fluxes fall with their currents; check the signs.",
                       t.i_d_A[0], t.i_q_A[0]);
  // Around a cell a potential gains nothing: what is left over the area is
  // d psi_q/d i_d - d psi_d/d i_q.
  std::size_t worst_d = 0, worst_q = 0;
  double worst_H = 0.0;
  for (std::size_t d = 0; d + 1 < nd; ++d)
    for (std::size_t q = 0; q + 1 < nq; ++q) {
      const double around = along_d[q][d] + along_q[d + 1][q] - along_d[q + 1][d] - along_q[d][q];
      const double area = (t.i_d_A[d + 1] - t.i_d_A[d]) * (t.i_q_A[q + 1] - t.i_q_A[q]);
      if (std::abs(around / area) <= std::abs(worst_H)) continue;
      worst_H = around / area, worst_d = d, worst_q = q;
    }
  worst_reciprocity_ = std::abs(worst_H) / mean_H_;
  if (worst_reciprocity_ > reciprocity_tolerance)
    throw FluxMapError(
        "machine.flux_map: in the cell from " + place(t.i_d_A[worst_d], t.i_q_A[worst_q]) +
            " on, d psi_q/d i_d exceeds d psi_d/d i_q by " + text(worst_H * 1e6) + " uH, " +
            text(worst_reciprocity_ * 100.0) + " % of the mean inductance; allowed " +
            text(reciprocity_tolerance * 100.0) +
            " %. Such a map would make or eat energy; check signs and columns, or measure it anew.",
        t.i_d_A[worst_d], t.i_q_A[worst_q]);

  // The node nearest to no current is where the paths begin.
  const auto nearest = [](const List& x) {
    return static_cast<std::size_t>(
        std::min_element(x.begin(), x.end(),
                         [](double a, double b) { return std::abs(a) < std::abs(b); }) -
        x.begin());
  };
  const std::size_t d0 = nearest(t.i_d_A), q0 = nearest(t.i_q_A);
  const auto gained = [](const List& sides, std::size_t from, std::size_t to) {
    double sum = 0.0;
    for (std::size_t k = std::min(from, to); k < std::max(from, to); ++k) sum += sides[k];
    return to >= from ? sum : -sum;
  };
  List w(nd * nq);
  for (std::size_t d = 0; d < nd; ++d)
    for (std::size_t q = 0; q < nq; ++q)
      w[d * nq + q] = 0.5 * (gained(along_d[q0], d0, d) + gained(along_q[d], q0, q) +
                             gained(along_q[d0], q0, q) + gained(along_d[q], d0, d));

  // Slopes at the nodes: of W' along d and along q, and the mixed one, from the tables at the rim.
  List w_d(nd * nq), w_q(nd * nq), w_dq(nd * nq);
  for (std::size_t q = 0; q < nq; ++q) {
    const List s =
        spline_slopes(t.i_d_A, column(w, q), t.psi_d_Wb[q], t.psi_d_Wb[(nd - 1) * nq + q]);
    for (std::size_t d = 0; d < nd; ++d) w_d[d * nq + q] = s[d];
  }
  for (std::size_t d = 0; d < nd; ++d) {
    const List s =
        spline_slopes(t.i_q_A, row(w, d), t.psi_q_Wb[d * nq], t.psi_q_Wb[d * nq + nq - 1]);
    std::copy(s.begin(), s.end(), w_q.begin() + static_cast<std::ptrdiff_t>(d * nq));
  }
  const List first = spline_slopes(t.i_d_A, column(w_q, 0));
  const List last = spline_slopes(t.i_d_A, column(w_q, nq - 1));
  for (std::size_t d = 0; d < nd; ++d) {
    const List s = spline_slopes(t.i_q_A, row(w_d, d), first[d], last[d]);
    std::copy(s.begin(), s.end(), w_dq.begin() + static_cast<std::ptrdiff_t>(d * nq));
  }

  // Powers from corner values: over one direction, c = (f0, s0, 3 r - 2 s0 - s1, s0 + s1 - 2 r)
  // with the mean slope r and lengths divided out.
  struct Power {
    double c[4];
  };
  const auto powers = [](double f0, double s0, double f1, double s1, double h) {
    const double r = (f1 - f0) / h;
    return Power{{f0, s0, (3.0 * r - 2.0 * s0 - s1) / h, (s0 + s1 - 2.0 * r) / (h * h)}};
  };
  cells_.resize(static_cast<std::size_t>(d_.cells() * q_.cells()));
  for (int cd = 0; cd <= static_cast<int>(nd); ++cd)
    for (int cq = 0; cq <= static_cast<int>(nq); ++cq) {
      // A cell beyond the rim takes the piece beside it, seen from the rim, without third powers.
      const std::size_t d = static_cast<std::size_t>(
                            std::clamp<int>(cd - 1, 0, static_cast<int>(nd) - 2)),
                        q = static_cast<std::size_t>(
                            std::clamp<int>(cq - 1, 0, static_cast<int>(nq) - 2));
      const double hd = t.i_d_A[d + 1] - t.i_d_A[d], hq = t.i_q_A[q + 1] - t.i_q_A[q];
      const std::size_t a = d * nq + q, b = a + nq;
      // Over q at both ends in d, for W' and its slope along d; then over d.
      const Power f0 = powers(w[a], w_q[a], w[a + 1], w_q[a + 1], hq),
                  f1 = powers(w[b], w_q[b], w[b + 1], w_q[b + 1], hq),
                  s0 = powers(w_d[a], w_dq[a], w_d[a + 1], w_dq[a + 1], hq),
                  s1 = powers(w_d[b], w_dq[b], w_d[b + 1], w_dq[b + 1], hq);
      double c[4][4];  // by power of i_d, of i_q
      for (int n = 0; n < 4; ++n) {
        const Power p = powers(f0.c[n], s0.c[n], f1.c[n], s1.c[n], hd);
        for (int m = 0; m < 4; ++m) c[m][n] = p.c[m];
      }
      const auto moved = [](double& k0, double& k1, double& k2, double& k3, double by) {
        k0 += by * (k1 + by * (k2 + by * k3));
        k1 += by * (2.0 * k2 + 3.0 * by * k3);
        k2 += 3.0 * by * k3;
        k3 = 0.0;
      };
      if (cd == 0 || cd == static_cast<int>(nd))
        for (int n = 0; n < 4; ++n) moved(c[0][n], c[1][n], c[2][n], c[3][n], cd == 0 ? 0.0 : hd);
      if (cq == 0 || cq == static_cast<int>(nq))
        for (auto& m : c) moved(m[0], m[1], m[2], m[3], cq == 0 ? 0.0 : hq);
      Cell& cell = cells_[static_cast<std::size_t>(cd * q_.cells() + cq)];
      for (int m = 0; m < 4; ++m) {
        cell.even[m] = pair(c[m][0], c[m][2]);
        cell.odd[m] = pair(c[m][1], c[m][3]);
      }
    }
}

void FluxMap::check_nodes(const FluxMapTable& t) {
  double largest = 0.0;
  for (std::size_t k = 0; k < t.psi_d_Wb.size(); ++k)
    largest = std::max({largest, std::abs(t.psi_d_Wb[k]), std::abs(t.psi_q_Wb[k])});
  low_d_ = d_.least(), high_d_ = d_.most(), low_q_ = q_.least(), high_q_ = q_.most();
  const std::size_t nq = t.i_q_A.size();
  double worst = 0.0, d = 0.0, q = 0.0;
  for (std::size_t k = 0; k < t.psi_d_Wb.size(); ++k) {
    const Values v = at(t.i_d_A[k / nq], t.i_q_A[k % nq]);
    const double off =
        std::max(std::abs(v.psi_d - t.psi_d_Wb[k]), std::abs(v.psi_q - t.psi_q_Wb[k]));
    if (off <= worst) continue;
    worst = off, d = t.i_d_A[k / nq], q = t.i_q_A[k % nq];
  }
  worst_flux_ = worst / largest;
  if (worst_flux_ > flux_tolerance)
    throw FluxMapError("machine.flux_map: at " + place(d, q) +
                           " the smooth map misses the table by " + text(worst * 1e3) + " mWb, " +
                           text(worst_flux_ * 100.0) + " % of the largest flux; allowed " +
                           text(flux_tolerance * 100.0) +
                           " %. Look for a wrong number there, or measure more finely around it.",
                       d, q);
}

/// False: an inductance below `floor_H` there.
bool FluxMap::bound(double i_d, double i_q, double floor_H) {
  const Values v = at(i_d, i_q);
  const double middle = 0.5 * (v.l_dd + v.l_qq);
  const double away = std::hypot(0.5 * (v.l_dd - v.l_qq), v.l_dq);
  least_H_ = std::min(least_H_, middle - away);
  most_H_ = std::max(most_H_, middle + away);
  return middle - away >= floor_H;
}

/// Looks at the inductances out to this share of the span beyond each edge.
bool FluxMap::usable_to(double share, double floor_H) {
  const double more_d = share * (d_.most() - d_.least()), more_q = share * (q_.most() - q_.least());
  low_d_ = d_.least() - more_d, high_d_ = d_.most() + more_d;
  low_q_ = q_.least() - more_q, high_q_ = q_.most() + more_q;
  constexpr int per_side = 80;
  for (int k = 0; k <= per_side; ++k)
    for (int j = 0; j <= per_side; ++j) {
      const double d = low_d_ + (high_d_ - low_d_) * k / per_side;
      const double q = low_q_ + (high_q_ - low_q_) * j / per_side;
      if (!covers(d, q) && !bound(d, q, floor_H)) return false;
    }
  reach_ = share;
  return true;
}

void FluxMap::look_at_inductances() {
  constexpr int per_cell = 8;
  const auto places = [](const List& nodes) {
    List out{nodes.front()};
    for (std::size_t k = 1; k < nodes.size(); ++k)
      for (int j = 1; j <= per_cell; ++j)
        out.push_back(nodes[k - 1] + (nodes[k] - nodes[k - 1]) * j / per_cell);
    return out;
  };
  const double floor_H = least_inductance_share * mean_H_;
  for (const double d : places(d_.nodes()))
    for (const double q : places(q_.nodes()))
      if (!bound(d, q, floor_H))
        throw FluxMapError(
            "machine.flux_map: at " + place(d, q) + " the incremental inductance is " +
                text(least_H_ * 1e6) + " uH in one direction; allowed " + text(floor_H * 1e6) +
                " uH or more. A flux must rise with its current everywhere; look for a wrong "
                "number there.",
            d, q);
  const double least = least_H_, most = most_H_;
  for (const double share : {1.0, 0.5, 0.25, 0.1, 0.02, 0.0}) {
    if (usable_to(share, 0.5 * least)) return;
    least_H_ = least;
    most_H_ = most;
  }
}

double FluxMap::Cell::coenergy(double u, double v) const noexcept {
  const auto [even_q, odd_q] = along_d(u);
  return even_q.value[0] + v * (odd_q.value[0] + v * (even_q.value[1] + v * odd_q.value[1]));
}

FluxMap::Values FluxMap::at(double i_d, double i_q) const noexcept {
  const double d = std::clamp(i_d, low_d_, high_d_), q = std::clamp(i_q, low_q_, high_q_);
  const int cd = d_.cell(d), cq = q_.cell(q);
  Values v = cell(cd, cq).at(d - d_.origin(cd), q - q_.origin(cq));
  v.psi_d += v.l_dd * (i_d - d) + v.l_dq * (i_q - q);
  v.psi_q += v.l_dq * (i_d - d) + v.l_qq * (i_q - q);
  return v;
}

double FluxMap::field_J(double i_d, double i_q) const noexcept {
  const double d = std::clamp(i_d, low_d_, high_d_), q = std::clamp(i_q, low_q_, high_q_);
  const int cd = d_.cell(d), cq = q_.cell(q);
  const Cell& piece = cell(cd, cq);
  const double u = d - d_.origin(cd), v = q - q_.origin(cq), more_d = i_d - d, more_q = i_q - q;
  const Values l = piece.at(u, v);
  const double psi_d = l.psi_d + l.l_dd * more_d + l.l_dq * more_q,
               psi_q = l.psi_q + l.l_dq * more_d + l.l_qq * more_q;
  const double coenergy_J =
      piece.coenergy(u, v) + l.psi_d * more_d + l.psi_q * more_q +
      0.5 * (l.l_dd * more_d * more_d + 2.0 * l.l_dq * more_d * more_q + l.l_qq * more_q * more_q) -
      coenergy_at_rest_;
  return i_d * psi_d + i_q * psi_q - coenergy_J;
}

}  // namespace stillrotor::plant
