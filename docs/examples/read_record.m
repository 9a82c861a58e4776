% Reads a run's record: octave-cli read_record.m RUN/record.h5. Octave needs no package for it.
%
% Prints what docs/examples/read_record.py prints of signals. Octave reads numbers on the grid;
% edges and marks are lists of mixed types, which it leaves out with a warning each: turn those into
% text first (stillrotor record export RUN --vcd gates.vcd).
warning("off", "all");
record = load(argv(){1});
warning("on", "all");

% A signal is one number a grid point; point k stands for k / rate seconds since the start.
% Dots in names have become underscores: phase_current.U is phase_current_U.
torque_Nm = record.signals.torque;
length_s = double(record.covered_ps) * 1e-12;
time_s = (1:numel(torque_Nm)) * length_s / numel(torque_Nm);
late = time_s >= 0.9 * time_s(end);
printf("%d points, %.3f s\n", numel(torque_Nm), length_s);
printf("torque over the last tenth: %.3f N m\n", mean(torque_Nm(late)));

% Currents, bus and torque have the least and the greatest value between two points beside them.
least = record.signals_least.phase_current_U;
most = record.signals_greatest.phase_current_U;
printf("greatest current of phase U: %.3f A\n", max(abs([least most])));

% The overview: least and greatest of 64 points each, every signal of the record in one table. Dimensions:
% least or greatest, signal, stretch. A name that begins with a digit gets an underscore.
seen = record.overview._64;
printf("%d stretches of 64 points\n", size(seen, 3));
