//! Draws photographs as found in laboratories into a folder, to be looked at: `found DIR [PICTURES A CONDITION]`.

use arcmass_draw::{FOUND_CONDITIONS, FoundPath, draw_found, found_by_lot};

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let mut words = std::env::args().skip(1);
    let folder = words.next().ok_or("name a folder to draw into")?;
    let count: u64 = words.next().map_or(Ok(1), |word| word.parse())?;
    let only = words.next();
    std::fs::create_dir_all(&folder)?;
    for condition in FOUND_CONDITIONS.iter().filter(|c| only.as_deref().is_none_or(|only| c.name == only)) {
        for seed in 0..count {
            let start = std::time::Instant::now();
            let scene = found_by_lot(condition, seed, &circle);
            let drawn = draw_found(&scene)?;
            let name = format!("{}-{seed}.jpg", condition.name.replace(' ', "-"));
            std::fs::write(std::path::Path::new(&folder).join(&name), &drawn.jpeg)?;
            println!("{name}: {:?} in {:.2?}", drawn.truth.size_px, start.elapsed());
        }
    }
    Ok(())
}

/// A helix in an even field along the axis.
fn circle(path: &FoundPath) -> Vec<[f64; 3]> {
    let [x, y, z] = path.direction;
    let flat = x.hypot(y);
    let (radius, start) = (path.radius_mm, y.atan2(x) - std::f64::consts::FRAC_PI_2);
    let centre = [path.muzzle_mm[0] - radius * start.cos(), path.muzzle_mm[1] - radius * start.sin()];
    let long = std::f64::consts::TAU * radius * path.turns;
    let count = long.ceil() as usize;
    (0..=count)
        .map(|step| {
            let way = long * step as f64 / count as f64;
            let angle = start + way / radius;
            [
                centre[0] + radius * angle.cos(),
                centre[1] + radius * angle.sin(),
                path.muzzle_mm[2] + way * z / flat,
            ]
        })
        .collect()
}
