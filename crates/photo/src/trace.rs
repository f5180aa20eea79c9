//! The beam's cross-section fitted along normals, to a tenth of a pixel.
