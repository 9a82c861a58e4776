// Saturation: flux linkages over the currents, psi_d(i_d, i_q) and psi_q(i_d, i_q), with
// cross-coupling, as one potential. The co-energy per 3/2
//   W'(i_d, i_q),   psi = grad W',   incremental inductance = Hessian of W'
// is a C2 bicubic spline on the tables' grid, so whatever the tables' small errors, no energy comes
// from nowhere: torque and voltage follow from the same W'.
// Made    W' at the nodes from integrals of both tables' splines, mean of the path d first and the
//         path q first, from the node nearest to no current; slopes at the rim from the tables.
// Outside the map the edge's inductance is held along the way out (third powers dropped: still one
//         potential, still C2), up to reach() beyond each edge; further out psi runs on with the
//         inductances of that outermost place, which keeps no strict energy account any more.
// Units   A, Wb, H; W' in J per 3/2.  Frame dq, magnets' flux included at the map's own
// temperature. Source  derived; bicubic spline with given end slopes: textbook (de Boor), from
// memory. RT      everything but the constructor is safe, O(1).
#pragma once

#include <stdexcept>
#include <string>
#include <vector>

#include "plant/frames.hpp"
#include "plant/pair.hpp"

namespace stillrotor::plant {

/// Two rising lists of at least 4 currents, both reaching from 0 or below to 0 or above; fluxes in
/// rows: psi[d * i_q.size() + q].
struct FluxMapTable {
  std::vector<double> i_d_A, i_q_A, psi_d_Wb, psi_q_Wb;
  bool empty() const noexcept { return psi_d_Wb.empty(); }
};

/// A map that is none, at (i_d, i_q).
class FluxMapError : public std::invalid_argument {
 public:
  FluxMapError(const std::string& what, double d_A, double q_A)
      : std::invalid_argument(what), i_d_A(d_A), i_q_A(q_A) {}
  double i_d_A, i_q_A;
};

/// One axis of the grid: which cell holds a current. Cell 0 lies below the first node, cell n above
/// the last.
class FluxMapAxis {
 public:
  explicit FluxMapAxis(std::vector<double> nodes);
  int cell(double x) const noexcept {
    double at = (x - low_) * per_A_;
    at = at > 0.0 ? (at < last_ ? at : last_) : 0.0;  // a number that is none: 0
    const int below = below_[static_cast<std::size_t>(at)];
    return below + (x >= upper_[static_cast<std::size_t>(below)] ? 1 : 0);
  }
  double origin(int cell) const noexcept { return origin_[static_cast<std::size_t>(cell)]; }
  /// Upper end of a cell; the last one has none.
  double end(int cell) const noexcept { return upper_[static_cast<std::size_t>(cell)]; }
  const std::vector<double>& nodes() const noexcept { return nodes_; }
  int cells() const noexcept { return static_cast<int>(nodes_.size()) + 1; }
  double least() const noexcept { return nodes_.front(); }
  double most() const noexcept { return nodes_.back(); }
  double span() const noexcept { return most() - least(); }

 private:
  std::vector<double> nodes_, upper_, origin_;
  std::vector<int> below_;  // nodes before each bucket; a bucket holds at most one
  double low_ = 0.0, per_A_ = 1.0, last_ = 0.0;
};

class FluxMap {
 public:
  struct Values {
    double psi_d, psi_q, l_dd, l_dq, l_qq;
  };
  /// Third derivatives of W', and of the fourth ones those that a bicubic piece has.
  struct Bends {
    Pair by_dd, by_dq, by_qq;  // of (psi_d, psi_q), twice
    double dddq, ddqq, dqqq;
  };
  /// A bicubic piece, as powers of the distance from its cell's origin: of i_d by index, of i_q in
  /// the pairs (0, 2) and (1, 3).
  struct alignas(64) Cell {
    Pair even[4], odd[4];
    [[gnu::always_inline]] Values at(double u, double v) const noexcept;
    [[gnu::always_inline]] Dq flux(double u, double v) const noexcept;  // of these psi alone
    [[gnu::always_inline]] Bends bends(double u, double v) const noexcept;
    double coenergy(double u, double v) const noexcept;

   private:
    /// Over i_d, for the powers of i_q in a pair: p, p', p''.
    struct Powers {
      Pair value, slope, bend;
    };
    struct AlongD {
      Powers even, odd;
    };
    [[gnu::always_inline]] AlongD along_d(double u) const noexcept;
  };

  // What is refused, each as a share of the mean inductance or of the largest flux.
  static constexpr double reciprocity_tolerance = 0.02, flux_tolerance = 0.005;
  static constexpr double least_inductance_share = 0.01;

  /// Throws FluxMapError: fewer than 4 currents, currents that do not rise or do not enclose 0,
  /// tables that are no gradient (d psi_d/d i_q against d psi_q/d i_d), a flux that does not rise
  /// with its current, nodes that the spline misses.
  explicit FluxMap(const FluxMapTable&);

  Values at(double i_d, double i_q) const noexcept;
  /// Of these psi alone, for half the work.
  Dq flux(double i_d, double i_q) const noexcept {
    if (!reaches(i_d, i_q)) [[unlikely]] {
      const Values far = at(i_d, i_q);
      return {far.psi_d, far.psi_q};
    }
    const int d = d_.cell(i_d), q = q_.cell(i_q);
    return cell(d, q).flux(i_d - d_.origin(d), i_q - q_.origin(q));
  }
  /// Energy in the field, i . psi - W', less what it is at no current [J per 3/2].
  double field_J(double i_d, double i_q) const noexcept;
  bool covers(double i_d, double i_q) const noexcept {
    return i_d >= d_.least() && i_d <= d_.most() && i_q >= q_.least() && i_q <= q_.most();
  }
  /// Within reach() of the map: at() is the cell's own polynomial.
  bool reaches(double i_d, double i_q) const noexcept {
    return i_d >= low_d_ && i_d <= high_d_ && i_q >= low_q_ && i_q <= high_q_;
  }
  const FluxMapAxis& d_axis() const noexcept { return d_; }
  const FluxMapAxis& q_axis() const noexcept { return q_; }
  const Cell& cell(int d, int q) const noexcept {
    return cells_[static_cast<std::size_t>(d * q_.cells() + q)];
  }
  /// Flux of the magnets: psi_d at no current [Wb].
  double magnet_Wb() const noexcept { return at_rest_.psi_d; }
  Values at_rest() const noexcept { return at_rest_; }
  /// Bounds on the incremental inductance along any direction, anywhere [H].
  double inductance_min_H() const noexcept { return least_H_; }
  double inductance_max_H() const noexcept { return most_H_; }
  /// How far the fit is from the tables, as shares: for reports.
  double worst_reciprocity() const noexcept { return worst_reciprocity_; }
  double worst_flux() const noexcept { return worst_flux_; }
  /// As a share of each axis' span.
  double reach() const noexcept { return reach_; }

 private:
  void fit(const FluxMapTable&);
  void check_nodes(const FluxMapTable&);
  void look_at_inductances();
  bool bound(double i_d, double i_q, double floor_H);
  bool usable_to(double share, double floor_H);

  FluxMapAxis d_, q_;
  std::vector<Cell> cells_;
  Values at_rest_{};
  double mean_H_ = 0.0, least_H_ = 1e300, most_H_ = 0.0;
  double worst_reciprocity_ = 0.0, worst_flux_ = 0.0, reach_ = 0.0, coenergy_at_rest_ = 0.0;
  double low_d_ = 0.0, high_d_ = 0.0, low_q_ = 0.0, high_q_ = 0.0;
};

// Sums two by two: the way to each of them is short.
inline FluxMap::Cell::AlongD FluxMap::Cell::along_d(double u) const noexcept {
  const Pair x = both(u), x2 = x * x;
  const auto of = [ x, x2 ](const Pair(&c)[4]) __attribute__((always_inline)) {
    const Pair two_2 = c[2] + c[2], three_3 = both(3.0) * c[3];
    return Powers{(c[0] + x * c[1]) + x2 * (c[2] + x * c[3]), (c[1] + x * two_2) + x2 * three_3,
                  two_2 + x * (three_3 + three_3)};
  };
  return {of(even), of(odd)};
}

inline FluxMap::Values FluxMap::Cell::at(double u, double v) const noexcept {
  const auto [even_q, odd_q] = along_d(u);
  const double v2 = v * v;
  const Pair d = even_q.slope + both(v) * odd_q.slope, e = even_q.bend + both(v) * odd_q.bend;
  Values out;
  out.psi_d = d[0] + v2 * d[1];
  out.l_dd = e[0] + v2 * e[1];
  out.psi_q = odd_q.value[0] + (2.0 * v) * even_q.value[1] + (3.0 * v2) * odd_q.value[1];
  out.l_dq = odd_q.slope[0] + (2.0 * v) * even_q.slope[1] + (3.0 * v2) * odd_q.slope[1];
  out.l_qq = 2.0 * even_q.value[1] + (6.0 * v) * odd_q.value[1];
  return out;
}

inline FluxMap::Bends FluxMap::Cell::bends(double u, double v) const noexcept {
  const auto [even_q, odd_q] = along_d(u);
  const double v2 = v * v;
  const double ddd = 6.0 * ((even[3][0] + v * odd[3][0]) + v2 * (even[3][1] + v * odd[3][1]));
  const double ddq = odd_q.bend[0] + v * (2.0 * even_q.bend[1] + 3.0 * v * odd_q.bend[1]);
  const double dqq = 2.0 * even_q.slope[1] + 6.0 * v * odd_q.slope[1];
  return {pair(ddd, ddq),
          pair(ddq, dqq),
          pair(dqq, 6.0 * odd_q.value[1]),
          6.0 * (odd[3][0] + v * (2.0 * even[3][1] + 3.0 * v * odd[3][1])),
          2.0 * even_q.bend[1] + 6.0 * v * odd_q.bend[1],
          6.0 * odd_q.slope[1]};
}

inline Dq FluxMap::Cell::flux(double u, double v) const noexcept {
  const auto [even_q, odd_q] = along_d(u);
  const Pair d = even_q.slope + both(v) * odd_q.slope;
  const double v2 = v * v;
  return {d[0] + v2 * d[1],
          odd_q.value[0] + (2.0 * v) * even_q.value[1] + (3.0 * v2) * odd_q.value[1]};
}

/// The map's piece that holds a point; kept from point to point, for a step seldom leaves
/// it. Only where the map reaches().
class FluxMapPiece {
 public:
  FluxMapPiece() = default;  // of no map, nothing set: not to be asked
  explicit FluxMapPiece(const FluxMap& map) noexcept
      : map_(&map),
        cell_(nullptr),
        low_d_(1.0),
        high_d_(-1.0),
        low_q_(0.0),
        high_q_(0.0),
        origin_d_(0.0),
        origin_q_(0.0) {}
  [[gnu::always_inline]] FluxMap::Values at(double i_d, double i_q) noexcept {
    if (!(i_d >= low_d_ && i_d < high_d_ && i_q >= low_q_ && i_q < high_q_)) find(i_d, i_q);
    return cell_->at(i_d - origin_d_, i_q - origin_q_);
  }
  /// Of these the linkages alone.
  [[gnu::always_inline]] Dq flux(double i_d, double i_q) noexcept {
    if (!(i_d >= low_d_ && i_d < high_d_ && i_q >= low_q_ && i_q < high_q_)) find(i_d, i_q);
    return cell_->flux(i_d - origin_d_, i_q - origin_q_);
  }
  /// Where at() was asked last.
  [[gnu::always_inline]] FluxMap::Bends bends(double i_d, double i_q) const noexcept {
    return cell_->bends(i_d - origin_d_, i_q - origin_q_);
  }

 private:
  [[gnu::noinline]] void find(double i_d, double i_q) noexcept {
    const FluxMapAxis &d = map_->d_axis(), &q = map_->q_axis();
    const int cd = d.cell(i_d), cq = q.cell(i_q);
    cell_ = &map_->cell(cd, cq);
    origin_d_ = d.origin(cd);
    origin_q_ = q.origin(cq);
    low_d_ = cd == 0 ? -1e300 : origin_d_;
    low_q_ = cq == 0 ? -1e300 : origin_q_;
    high_d_ = d.end(cd);
    high_q_ = q.end(cq);
  }
  const FluxMap* map_;
  const FluxMap::Cell* cell_;
  double low_d_, high_d_, low_q_, high_q_;
  double origin_d_, origin_q_;
};

}  // namespace stillrotor::plant
