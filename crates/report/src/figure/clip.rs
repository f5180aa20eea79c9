//! Cuts lines and areas at the frame, so that nothing is written outside it.

/// Left, top, right, bottom.
pub(super) type Frame = [f64; 4];

/// The parts of a line inside the frame.
pub(super) fn line(points: &[[f64; 2]], frame: Frame) -> Vec<Vec<[f64; 2]>> {
    let mut parts: Vec<Vec<[f64; 2]>> = Vec::new();
    let mut open = false;
    for pair in points.windows(2) {
        let Some((from, to)) = segment(pair[0], pair[1], frame) else {
            open = false;
            continue;
        };
        match parts.last_mut() {
            Some(part) if open && from == pair[0] => part.push(to),
            _ => parts.push(vec![from, to]),
        }
        open = to == pair[1];
    }
    parts
}

/// A stretch cut at the frame (Liang and Barsky).
pub(super) fn segment(from: [f64; 2], to: [f64; 2], frame: Frame) -> Option<([f64; 2], [f64; 2])> {
    let step = [to[0] - from[0], to[1] - from[1]];
    let (mut enter, mut leave) = (0.0_f64, 1.0_f64);
    for axis in 0..2 {
        for (slope, room) in
            [(-step[axis], from[axis] - frame[axis]), (step[axis], frame[axis + 2] - from[axis])]
        {
            if slope == 0.0 {
                if room < 0.0 {
                    return None;
                }
            } else if slope < 0.0 {
                enter = enter.max(room / slope);
            } else {
                leave = leave.min(room / slope);
            }
        }
    }
    let at = |part: f64| [from[0] + part * step[0], from[1] + part * step[1]];
    (enter <= leave)
        .then(|| (if enter == 0.0 { from } else { at(enter) }, if leave == 1.0 { to } else { at(leave) }))
}

/// The part of an area inside the frame (Sutherland and Hodgman).
pub(super) fn area(points: &[[f64; 2]], frame: Frame) -> Vec<[f64; 2]> {
    let mut kept = points.to_vec();
    for (axis, bound, sign) in
        [(0, frame[0], 1.0), (1, frame[1], 1.0), (0, frame[2], -1.0), (1, frame[3], -1.0)]
    {
        let inside = |p: &[f64; 2]| sign * (p[axis] - bound) >= 0.0;
        let mut cut = Vec::with_capacity(kept.len() + 4);
        for (index, to) in kept.iter().enumerate() {
            let from = kept[(index + kept.len() - 1) % kept.len()];
            if inside(&from) != inside(to) {
                let part = (bound - from[axis]) / (to[axis] - from[axis]);
                let other = 1 - axis;
                let mut place = [0.0; 2];
                place[axis] = bound;
                place[other] = from[other] + part * (to[other] - from[other]);
                cut.push(place);
            }
            if inside(to) {
                cut.push(*to);
            }
        }
        kept = cut;
    }
    kept
}

/// Whether a place lies in the frame, its border included.
pub(super) fn holds(frame: Frame, [x, y]: [f64; 2]) -> bool {
    x >= frame[0] - 1e-6 && x <= frame[2] + 1e-6 && y >= frame[1] - 1e-6 && y <= frame[3] + 1e-6
}

#[cfg(test)]
mod tests {
    use super::*;

    const FRAME: Frame = [0.0, 0.0, 10.0, 10.0];

    #[test]
    fn a_line_that_leaves_and_returns_is_two_parts() {
        let parts = line(&[[1.0, 5.0], [5.0, -5.0], [9.0, 5.0]], FRAME);
        assert_eq!(parts, [[[1.0, 5.0], [3.0, 0.0]], [[7.0, 0.0], [9.0, 5.0]]]);
    }

    #[test]
    fn an_area_around_the_frame_fills_it() {
        let cut = area(&[[-5.0, -5.0], [20.0, -5.0], [20.0, 20.0], [-5.0, 20.0]], FRAME);
        assert_eq!(cut.len(), 4);
        assert!(cut.iter().all(|p| holds(FRAME, *p)));
        assert!(area(&[[-5.0, 1.0], [-1.0, 1.0], [-1.0, 4.0]], FRAME).is_empty());
    }
}
