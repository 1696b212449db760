//! Light: how fittings shine, and what arrives where, direct and reflected.

pub mod exchange;
pub mod gather;
pub mod illuminance;
pub mod lm63;
pub mod mesh;
pub mod photometry;
pub mod radiosity;
pub mod scene;
pub mod sight;
pub mod table;
