// Limits in the dq plane of a permanent-magnet machine in the steady state.
// Amplitude-invariant, d on the magnet axis, currents into the machine:
//   v_d = R i_d - omega_e L_q i_q,   v_q = R i_q + omega_e (L_d i_d + psi).

/// The longest voltage vector that a two-level bridge makes of the bus without distortion.
export const longestVoltage = (bus_V) => bus_V / Math.sqrt(3);

/// Points [i_d, i_q] of the curve |v| = voltage_V; null where nothing limits (standstill without resistance).
export function voltageLimit(machine, omega_e, voltage_V, points = 120) {
  const {winding_resistance_ohm: R, inductance_d_H: Ld, inductance_q_H: Lq, flux_linkage_Wb: psi} = machine;
  const a = R, b = -omega_e * Lq, c = omega_e * Ld, d = R;
  const det = a * d - b * c;
  if (!(Math.abs(det) > 1e-12) || !(voltage_V > 0)) return null;
  const out = [];
  for (let k = 0; k <= points; ++k) {
    const angle = (2 * Math.PI * k) / points;
    const x = voltage_V * Math.cos(angle), y = voltage_V * Math.sin(angle) - omega_e * psi;
    out.push([(d * x - b * y) / det, (a * y - c * x) / det]);
  }
  return out;
}

/// Length of the voltage vector that holds a current.
export function voltageOf(machine, omega_e, i_d, i_q) {
  const {winding_resistance_ohm: R, inductance_d_H: Ld, inductance_q_H: Lq, flux_linkage_Wb: psi} = machine;
  return Math.hypot(R * i_d - omega_e * Lq * i_q, R * i_q + omega_e * (Ld * i_d + psi));
}

/// Mean over time of the rms of the three phases: all their power sits in dq, amplitude-invariant.
export function phaseRms(i_d, i_q) {
  let sum = 0, count = 0;
  for (let k = 0; k < i_d.length; ++k) {
    const square = i_d[k] * i_d[k] + i_q[k] * i_q[k];
    if (Number.isNaN(square)) continue;
    sum += square;
    ++count;
  }
  return count ? Math.sqrt(sum / count / 2) : NaN;
}

/// Sector of 60 electrical degrees, 1 to 6.
export const sectorOf = (angle_rad) => Math.floor((((angle_rad % (2 * Math.PI)) + 2 * Math.PI) % (2 * Math.PI)) / (Math.PI / 3)) + 1;
