//! The drawing beside the bench's first numbers: each dimension lights up with its field. Not to scale.

use maud::{Markup, html};

/// From the front and from the side; `data-for` names the field that a part belongs to.
pub(super) fn drawing() -> Markup {
    html! {
        figure.bench-drawing {
            svg viewBox="0 0 600 316" role="img" aria-label="The bench from the front and from the side, not to scale: coils, bulb with gun and ring, camera and scale" {
                // from the front
                circle.coil cx="150" cy="158" r="120" {}
                circle.glass cx="150" cy="158" r="66" {}
                circle.beam cx="150" cy="158" r="36" {}
                text.caption x="192" y="146" { "ring" }
                g.dim data-for="gun-voltage_limit" {
                    path.body d="M106 188h38v12h-38z" {}
                    text x="98" y="182" text-anchor="end" { tspan.symbol { "V" } " limit" }
                    path d="M100 184L112 190" {}
                }
                g.dim data-for="gun-muzzle" {
                    circle.spot cx="146" cy="194" r="4" {}
                    path.thin d="M150 158V194M150 158H180" {}
                    text x="156" y="214" { "aperture " tspan.symbol { "x, y, z" } }
                }
                g.dim data-for="coils-mean_radius coils-mean_half_side" {
                    path d="M150 158L235 73" marker-end="url(#tip)" {}
                    text x="212" y="118" { tspan.symbol { "R" } }
                }
                g.dim data-for="bulb-outer_radius" {
                    path d="M150 158L93 125" marker-end="url(#tip)" {}
                    text x="84" y="118" text-anchor="end" { "bulb" }
                }
                text.caption x="150" y="308" text-anchor="middle" { "from the front" }
                // from the side: the camera on the right
                circle.glass cx="400" cy="158" r="66" {}
                path.beam d="M400 122V194" {}
                path.thin.axis d="M318 158H560" {}
                g.dim data-for="coils-turns" {
                    @for (x, y) in [(333, 29), (453, 29), (333, 267), (453, 267)] { rect.body x=(x) y=(y) width="14" height="20" {} }
                    text x="476" y="46" { tspan.symbol { "N" } " turns each" }
                }
                g.dim data-for="coils-separation" {
                    path d="M340 18H460" marker-start="url(#tip)" marker-end="url(#tip)" {}
                    text x="400" y="14" text-anchor="middle" { tspan.symbol { "s" } }
                }
                g.dim data-for="coils-current_limit" {
                    path d="M340 287V298H372M396 298H460V287" {}
                    circle.meter cx="384" cy="298" r="12" {}
                    text x="384" y="302.5" text-anchor="middle" { "A" }
                    text x="476" y="282" { tspan.symbol { "I" } " limit" }
                }
                g.dim data-for="scale-spacing" {
                    path d="M424 100V216M424 104h8M424 116h5M424 128h5M424 140h5M424 152h5M424 164h8M424 176h5M424 188h5M424 200h5M424 212h5" {}
                    text x="438" y="112" { "spacing" }
                }
                g.dim data-for="scale-offset" {
                    path d="M400 208H424" marker-start="url(#tip)" marker-end="url(#tip)" {}
                    text x="434" y="226" { "scale’s offset" }
                }
                path.camera d="M560 146h14l10-6v36l-10-6h-14z" {}
                g.dim data-for="camera-distance" {
                    path d="M400 244H560M560 176V250" marker-start="url(#tip)" {}
                    text x="508" y="264" text-anchor="middle" { "distance" }
                }
                text.caption x="560" y="132" text-anchor="middle" { "camera" }
                defs { marker #tip viewBox="0 0 8 8" refX="7" refY="4" markerWidth="7" markerHeight="7" orient="auto-start-reverse" { path.tip d="M0 0L8 4L0 8z" {} } }
            }
            figcaption.quiet { "Not to scale. " i.symbol { "x" } " to the right, " i.symbol { "y" } " up, " i.symbol { "z" } " along the coils’ axis towards the camera; origin at the centre of the coils." }
        }
    }
}
