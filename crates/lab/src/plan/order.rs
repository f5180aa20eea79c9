//! In which order to take the settings, and what to do where the leads or the bench change.

use super::document::Change;
use super::window::{Possible, Stand};

/// Places of the settings in the order to take them: as the bench stands first, so that leads or bench change once; within
/// that by rising current, and up and down in voltage, so that the next setting is one small turn of one knob away.
pub(super) fn order(chosen: &[&Possible], first: Stand) -> Vec<usize> {
    let mut places: Vec<usize> = (0..chosen.len()).collect();
    let key = |place: usize| {
        chosen
            .get(place)
            .map(|one| (!one.stand.is_like(&first), one.allowed.current_a(), one.allowed.voltage_v()))
    };
    places.sort_by(|a, b| match (key(*a), key(*b)) {
        (Some(a), Some(b)) => a.0.cmp(&b.0).then(a.1.total_cmp(&b.1)).then(a.2.total_cmp(&b.2)),
        _ => std::cmp::Ordering::Equal,
    });
    // every other current is gone through from the highest voltage down
    let mut from = 0;
    let mut down = false;
    while from < places.len() {
        let head = places.get(from).and_then(|place| key(*place)).map(|k| (k.0, k.1));
        let same = |place: &usize| key(*place).map(|k| (k.0, k.1)) == head;
        let many = places.iter().skip(from).take_while(|place| same(place)).count().max(1);
        if let Some(block) = places.get_mut(from..from + many).filter(|_| down) {
            block.reverse();
        }
        down = !down;
        from += many;
    }
    places
}

/// The steps from one stand of the bench to the next, the safe acts first; none where nothing changes.
pub(super) fn change(before: usize, from: Stand, to: Stand) -> Option<Change> {
    if from.is_like(&to) {
        return None;
    }
    let mut steps = vec![
        "anode voltage to 0".to_owned(),
        "coil current slowly down to 0, before anything is unplugged".to_owned(),
        "heater off, then wait until tube and coils are cool".to_owned(),
        "supplies off, lights on, eye protection near the bulb".to_owned(),
    ];
    if from.sense != to.sense {
        steps.push("reverse the two leads of the coil pair at the supply".to_owned());
    }
    if opposite(from.tilt_deg, to.tilt_deg) {
        steps.push(
            "rotate the tube by 180° in its socket, so that the beam starts in the opposite direction"
                .to_owned(),
        );
    }
    if opposite(from.turned_deg, to.turned_deg) {
        steps.push(
            "rotate the whole bench by 180° about the vertical, camera and scale with it, with slack leads"
                .to_owned(),
        );
    }
    steps
        .push("have the wiring checked by the responsible person, then start as at the first run".to_owned());
    Some(Change { before, steps })
}

fn opposite(a: f64, b: f64) -> bool {
    ((a - b).rem_euclid(360.0) - 180.0).abs() < 30.0
}
