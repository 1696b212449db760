use super::*;

/// The integral of intensity over the lower half-sphere by Simpson's rule: knows nothing of the closed forms.
fn flux_by_simpson(light: &Photometry) -> f64 {
    let count = 20_000;
    let step = PI / 2.0 / f64::from(count);
    let at = |index: i32| {
        let theta = f64::from(index) * step;
        light.candela(theta.cos(), 0.0) * theta.sin()
    };
    let weight = |index: i32| {
        if index == 0 || index == count {
            1.0
        } else if index % 2 == 1 {
            4.0
        } else {
            2.0
        }
    };
    2.0 * PI * step / 3.0 * (0..=count).map(|index| weight(index) * at(index)).sum::<f64>()
}

#[test]
fn ninety_degrees_is_a_cosine_squared_and_a_hundred_and_twenty_a_diffuser() {
    // Closed forms: m = 2 gives 3Φ/2π, m = 1 gives Φ/π.
    let light = Photometry::beam(1000.0, 90.0).unwrap();
    assert!((light.centre_cd() - 1500.0 / PI).abs() < 1e-9);
    assert!((light.candela(0.6, 0.0) / light.centre_cd() - 0.36).abs() < 1e-12);
    assert!((Photometry::beam(1000.0, 120.0).unwrap().centre_cd() - 1000.0 / PI).abs() < 1e-9);
    assert_eq!(light.candela(0.0, 0.0), 0.0);
    assert_eq!(light.candela(-0.5, 0.0), 0.0);
}

#[test]
fn flux_beam_and_field_come_out_as_put_in() {
    for beam in [1.0, 15.0, 24.0, 38.0, 60.0, 90.0, 120.0, 150.0, 178.0] {
        let light = Photometry::beam(650.0, beam).unwrap();
        assert!((light.flux_lm() - 650.0).abs() < 1e-9, "{beam}");
        assert!((light.beam_deg().unwrap() - beam).abs() < 1e-6, "{beam}");
    }
    // Field angle 2·acos(0.1^(1/m)) for 60°: 103.3°.
    assert!((Photometry::beam(650.0, 60.0).unwrap().field_deg().unwrap() - 103.3).abs() < 0.05);
}

#[test]
fn three_stated_figures_are_all_met() {
    // Three of these are the measured fittings that the plain lobe overstates by half.
    for (flux, beam, centre) in [
        (941.0, 27.6, 2121.0),
        (1219.0, 32.5, 2226.0),
        (2438.0, 16.6, 14635.0),
        (650.0, 60.0, 602.0),
        (650.0, 60.0, 450.0),
        (650.0, 60.0, 700.0),
        (650.0, 60.0, 770.0),
        (650.0, 60.0, 900.0),
        (650.0, 120.0, 200.0),
        (650.0, 120.0, 210.0),
    ] {
        let light = Photometry::beam_with_centre(flux, beam, centre).unwrap();
        assert!((light.centre_cd() / centre - 1.0).abs() < 1e-12);
        let edge = light.candela((beam / 2.0f64).to_radians().cos(), 0.0);
        assert!((edge / centre - 0.5).abs() < 1e-9, "{flux} {beam} {centre}: {edge}");
        assert!((light.flux_lm() / flux - 1.0).abs() < 1e-9, "{flux} {beam} {centre}");
        assert!((flux_by_simpson(&light) / flux - 1.0).abs() < 1e-4, "{flux} {beam} {centre}");
        assert!((light.peak_cd() / centre - 1.0).abs() < 1e-12);
    }
}

#[test]
fn figures_that_contradict_each_other_are_refused_with_the_range() {
    // 60° at 1200 cd: even if the lobe were cut off at the beam's edge, 2π·1200·(1 − cos 30°/2)/5.819 = 735 lm.
    let error = Photometry::beam_with_centre(650.0, 60.0, 1200.0).unwrap_err();
    assert!(error.to_string().contains("735 to"), "{error}");
    assert!(Photometry::beam_with_centre(650.0, 60.0, 100.0).is_err());
    for (flux, beam) in [(0.0, 60.0), (-1.0, 60.0), (f64::NAN, 60.0), (650.0, 0.0), (650.0, 180.0), (650.0, f64::NAN)] {
        assert!(Photometry::beam(flux, beam).is_err());
    }
}

#[test]
fn flux_in_cones_follows_the_closed_form() {
    // Φ(1 − cos^(m+1) α): 60° beam, 0.8669 within 90°, 0.9823 within 120° (computed from the formula).
    let light = Photometry::beam(1.0, 60.0).unwrap();
    assert!((light.flux_between(0.0, 45.0) - 0.8669).abs() < 5e-5);
    assert!((light.flux_between(0.0, 60.0) - 0.9823).abs() < 5e-5);
    let flat = Photometry::beam_with_centre(650.0, 60.0, 750.0).unwrap();
    let zones: f64 = (0..18).map(|zone| flat.flux_between(f64::from(zone) * 10.0, f64::from(zone + 1) * 10.0)).sum();
    assert!((zones - 650.0).abs() < 1e-9);
    let even = Photometry::isotropic(10.0);
    assert!((even.flux_lm() - 40.0 * PI).abs() < 1e-9 && even.beam_deg().is_none());
}
