//! Budgets, simulations, means and coverage factors: the examples of the GUM and its first supplement, and averages.

use super::table::{Case, case};
use arcmass_fit::{
    Distribution, Input, Sampler, Source, Summary, chi_squared_p_value, coverage_factor, propagate,
    propagate_joint, repeated_readings, sample_correlation, scaled_mean, second_order_uncertainty, simulate,
    summarise, weighted_mean,
};
use nalgebra::{DMatrix, Matrix3};
use rand_pcg::Pcg64;

const TABLE: &str = "uncertainty.toml";

pub(crate) fn check(c: &Case) -> bool {
    match c.id.as_str() {
        "gum-h2-stats" => simultaneous_readings(c),
        "gum-h2-result" => impedance(c, true),
        "gum-h2-nocorr" => impedance(c, false),
        "gum-h2-rounded" => impedance_rounded(c),
        "gum-h1" => gauge_block_budget(c),
        "s1-additive-normal" => additive(c, Distribution::Normal { mean: 0.0, sd: 1.0 }),
        "s1-additive-rectangular" => additive(c, rectangular(1.0)),
        "s1-additive-dominant" => dominant(c),
        "s1-mass" => mass_standard(c),
        id if id.starts_with("s1-comparison-loss-") => comparison_loss(c),
        "s1-gauge-block" => gauge_block_simulation(c),
        id if id.starts_with("t-table-") => t_table(c),
        "welch-satterthwaite-g41" => product_of_three(c),
        "weighted-mean-two" => mean_of_two(c),
        "pdg-kaon-mass" => kaon_mass(c),
        "budget-mass" => electron_mass(c),
        "chi2-tail" => chi_squared_tail(c),
        _ => return false,
    }
    true
}

fn simultaneous_readings(c: &Case) {
    let (v, i, phi) = (c.inputs("V_volt"), c.inputs("I_A"), c.inputs("phi_rad"));
    for (name, u_name, data) in [("V", "u_V", &v), ("I", "u_I", &i), ("phi", "u_phi", &phi)] {
        let r = repeated_readings(data).unwrap();
        c.agrees(name, r.mean);
        c.agrees(u_name, r.standard_uncertainty);
        assert_eq!(r.degrees_of_freedom, 4.0);
    }
    c.agrees("r_VI", sample_correlation(&v, &i).unwrap());
    c.agrees("r_Vphi", sample_correlation(&v, &phi).unwrap());
    c.agrees("r_Iphi", sample_correlation(&i, &phi).unwrap());
}

/// Resistance, reactance and impedance from voltage, current and phase.
fn circuit(x: &[f64]) -> Vec<f64> {
    vec![x[0] * x[2].cos() / x[1], x[0] * x[2].sin() / x[1], x[0] / x[1]]
}

fn correlations(vi: f64, vphi: f64, iphi: f64) -> DMatrix<f64> {
    let r = Matrix3::new(1.0, vi, vphi, vi, 1.0, iphi, vphi, iphi, 1.0);
    DMatrix::from_column_slice(3, 3, r.as_slice())
}

fn impedance(c: &Case, correlated: bool) {
    let data = case(TABLE, "gum-h2-stats");
    let read = [data.inputs("V_volt"), data.inputs("I_A"), data.inputs("phi_rad")];
    let inputs: Vec<Input> = read
        .iter()
        .map(|x| repeated_readings(x).unwrap())
        .map(|r| Input::new("", r.mean, r.standard_uncertainty).with_degrees_of_freedom(r.degrees_of_freedom))
        .collect();
    let pair = |a: usize, b: usize| sample_correlation(&read[a], &read[b]).unwrap();
    let r = correlations(pair(0, 1), pair(0, 2), pair(1, 2));
    let joint = propagate_joint(&inputs, correlated.then_some(&r), circuit).unwrap();
    let u: Vec<f64> = (0..3).map(|k| joint.covariance[(k, k)].sqrt()).collect();
    for (k, name) in ["R", "X", "Z"].iter().enumerate() {
        c.agrees(&format!("u_{name}"), u[k]);
    }
    if correlated {
        for (k, name) in ["R", "X", "Z"].iter().enumerate() {
            c.agrees(name, joint.values[k]);
        }
        let of = |a: usize, b: usize| joint.covariance[(a, b)] / (u[a] * u[b]);
        c.agrees("r_RX", of(0, 1));
        c.agrees("r_RZ", of(0, 2));
        c.agrees("r_XZ", of(1, 2));
        // Read together five times: each result has the four degrees of freedom of one series (GUM H.2.3).
        let z = propagate(&inputs, Some(&r), |x| circuit(x)[2]).unwrap();
        c.compare("nu_eff of Z", z.effective_degrees_of_freedom.unwrap(), 4.0, 1e-9);
    }
}

fn impedance_rounded(c: &Case) {
    let input = |name: &str| Input::new(name, c.input(name), c.input(&format!("u_{name}")));
    let inputs = [input("V"), input("I"), input("phi")];
    let r = correlations(c.input("r_VI"), c.input("r_Vphi"), c.input("r_Iphi"));
    let joint = propagate_joint(&inputs, Some(&r), circuit).unwrap();
    for (k, name) in ["u_R", "u_X", "u_Z"].iter().enumerate() {
        c.agrees(name, joint.covariance[(k, k)].sqrt());
    }
}

fn gauge_block_budget(c: &Case) {
    let parts = [c.input("u_d0"), c.input("u_d1"), c.input("u_d2")];
    let comparison: Vec<Input> = ["nu_d0", "nu_d1", "nu_d2"]
        .iter()
        .zip(parts)
        .map(|(nu, u)| Input::new(*nu, 0.0, u).with_degrees_of_freedom(c.input(nu)))
        .collect();
    let d = propagate(&comparison, None, |x| x.iter().sum()).unwrap();
    let nu_d = d.effective_degrees_of_freedom.unwrap();
    c.agrees("u_d_nm", d.standard_uncertainty);
    c.agrees("nu_d", nu_d);

    let root3 = 3.0_f64.sqrt();
    let u_theta = c.input("u_theta_mean").hypot(c.input("theta_cyclic_amplitude") / 2.0_f64.sqrt());
    let free =
        |name: &str, value: f64, u: f64, nu: f64| Input::new(name, value, u).with_degrees_of_freedom(nu);
    let inputs = [
        free("l_s", c.input("l_s_nm"), c.input("u_ls_nm"), c.input("nu_ls")),
        free("d", c.input("d_nm"), d.standard_uncertainty, nu_d),
        free("d_alpha", 0.0, c.input("d_alpha_halfwidth") / root3, c.input("nu_d_alpha")),
        free("d_theta", 0.0, c.input("d_theta_halfwidth") / root3, c.input("nu_d_theta")),
        Input::new("alpha_s", c.input("alpha_s"), c.input("alpha_s_halfwidth") / root3),
        Input::new("theta", c.input("theta_mean"), u_theta),
    ];
    let model = |x: &[f64]| x[0] + x[1] - x[0] * (x[2] * x[5] + x[4] * x[3]);
    let l = propagate(&inputs, None, model).unwrap();
    c.agrees("l_nm", l.value);
    c.agrees("u_c_nm", l.standard_uncertainty);
    let nu = l.effective_degrees_of_freedom.unwrap();
    c.agrees("nu_eff_unrounded", nu);
    for (k, want) in c.expected_list("components_nm").iter().enumerate() {
        let got = l.contributions[k].contribution.abs();
        c.compare("a component", got, *want, c.tolerance("rel") * want);
    }
    // The printed 93 nm rests on u_c rounded to 32 nm and 16 degrees of freedom.
    let k99 = l.coverage_factor(0.99).unwrap();
    c.agrees("t99_16", k99);
    c.agrees("U99_nm", k99 * 32.0);
    c.agrees("u_second_order_nm", second_order_uncertainty(&inputs, model).unwrap());
}

fn rectangular(sd: f64) -> Distribution {
    let half = sd * 3.0_f64.sqrt();
    Distribution::Rectangular { low: -half, high: half }
}

/// Draws for every simulated case; seeds are fixed, so a case passes or fails for good.
const CHUNKS: u64 = 40;
const CHUNK_SIZE: usize = 50_000;

fn simulated(laws: &[Distribution], model: impl Fn(&[f64]) -> f64, probability: f64) -> Summary {
    let sources: Vec<Source> = laws.iter().map(|l| Source::One(*l)).collect();
    let sampler = Sampler::new(&sources).unwrap();
    let stream = |k: u64| Pcg64::new(0xa11c_e5ee_d000 + u128::from(k), 0x5eed);
    let mut draws = simulate(&sampler, model, 0..CHUNKS, CHUNK_SIZE, stream).unwrap();
    summarise(&mut draws, probability).unwrap()
}

fn sum(x: &[f64]) -> f64 {
    x.iter().sum()
}

fn additive(c: &Case, law: Distribution) {
    let near = c.tolerance("monte_carlo_abs");
    let s = simulated(&[law; 4], sum, 0.95);
    c.agrees_within("y", s.value, near);
    c.agrees_within("u", s.standard_uncertainty, near);
    c.agrees_within("half_interval_95", s.symmetric_interval[1], near);
    c.agrees_within("half_interval_95", -s.symmetric_interval[0], near);
    let inputs = [(); 4].map(|()| Input::new("x", 0.0, 1.0));
    let gum = propagate(&inputs, None, sum).unwrap();
    c.agrees("u", gum.standard_uncertainty);
    let high = gum.interval(0.95).unwrap()[1];
    c.compare("first-order interval", high, 3.919_927_969_080_108, 1e-9);
}

fn dominant(c: &Case) {
    let near = c.tolerance("monte_carlo_abs");
    let laws = [rectangular(1.0), rectangular(1.0), rectangular(1.0), rectangular(10.0)];
    let s = simulated(&laws, sum, 0.95);
    c.agrees_within("u", s.standard_uncertainty, near);
    c.agrees_within("half_interval_95", s.symmetric_interval[1], near);
    c.agrees_within("half_interval_95", -s.symmetric_interval[0], near);
    let inputs = [1.0, 1.0, 1.0, 10.0].map(|u| Input::new("x", 0.0, u));
    let gum = propagate(&inputs, None, sum).unwrap();
    c.agrees("u", gum.standard_uncertainty);
    c.agrees("half_interval_gum", gum.interval(0.95).unwrap()[1]);
}

fn mass_standard(c: &Case) {
    let model = |x: &[f64]| (x[0] + x[1]) * (1.0 + (x[2] - 1.2) * (1.0 / x[3] - 1.0 / x[4])) - 100_000.0;
    let root3 = 3.0_f64.sqrt();
    let inputs = [
        Input::new("m_Rc", 100_000.0, 0.05),
        Input::new("dm_Rc", 1.234, 0.02),
        Input::new("rho_a", 1.2, 0.1 / root3),
        Input::new("rho_W", 8_000.0, 1_000.0 / root3),
        Input::new("rho_R", 8_000.0, 50.0 / root3),
    ];
    let gum = propagate(&inputs, None, model).unwrap();
    c.agrees("y_mg", gum.value);
    c.agrees("u_gum1", gum.standard_uncertainty);
    let [low, high] = gum.interval(0.95).unwrap();
    let want = c.expected_list("interval_gum1");
    c.compare("interval_gum1", low, want[0], 1e-6);
    c.compare("interval_gum1", high, want[1], 1e-6);
    let second = second_order_uncertainty(&inputs, model).unwrap();
    // By hand: only the products of air density with the two other densities bend the model.
    let by_hand = |mass: f64| {
        let bend = mass / 8_000.0_f64.powi(2) * 0.1 / root3;
        (0.05_f64.powi(2)
            + 0.02_f64.powi(2)
            + (bend * 1_000.0 / root3).powi(2)
            + (bend * 50.0 / root3).powi(2))
        .sqrt()
    };
    c.compare("second-order u", second, by_hand(100_001.234), 1e-6 * second);
    // The row's number leaves the 1.234 mg out of the bending terms, a difference of 7 in a million.
    c.agrees("u_gum2", by_hand(100_000.0));
    let laws = [
        Distribution::Normal { mean: 100_000.0, sd: 0.05 },
        Distribution::Normal { mean: 1.234, sd: 0.02 },
        Distribution::Rectangular { low: 1.1, high: 1.3 },
        Distribution::Rectangular { low: 7_000.0, high: 9_000.0 },
        Distribution::Rectangular { low: 7_950.0, high: 8_050.0 },
    ];
    let s = simulated(&laws, model, 0.95);
    c.agrees_within("u_exact", s.standard_uncertainty, c.tolerance("monte_carlo_u_abs"));
    let near = c.tolerance("monte_carlo_interval_abs");
    let symmetric = c.expected_list("interval_mc_symmetric");
    c.compare("symmetric interval", s.symmetric_interval[0], symmetric[0], near);
    c.compare("symmetric interval", s.symmetric_interval[1], symmetric[1], near);
    // The row notes 0.003 for a shortest interval, whose ends scatter more.
    let shortest = c.expected_list("interval_mc_shortest");
    c.compare("shortest interval", s.shortest_interval[0], shortest[0], 0.003);
    c.compare("shortest interval", s.shortest_interval[1], shortest[1], 0.003);
}

fn comparison_loss(c: &Case) {
    let (x1, u) = (c.input("x1"), c.input("u"));
    let model = |x: &[f64]| 1e6 * (x[0] * x[0] + x[1] * x[1]);
    let laws = [Distribution::Normal { mean: x1, sd: u }, Distribution::Normal { mean: 0.0, sd: u }];
    let s = simulated(&laws, model, 0.95);
    let rel = c.tolerance("monte_carlo_rel");
    c.agrees_within("mean_1e6", s.value, rel * c.expected("mean_1e6"));
    c.agrees_within("u_1e6", s.standard_uncertainty, rel * c.expected("u_1e6"));
    let want = c.expected_list("shortest95_1e6");
    c.compare("shortest interval, low end", s.shortest_interval[0], want[0], rel * want[1]);
    c.compare("shortest interval, high end", s.shortest_interval[1], want[1], rel * want[1]);
    let gum = propagate(&[Input::new("x1", x1, u), Input::new("x2", 0.0, u)], None, model).unwrap();
    let first = c.expected("u_gum_first_order_1e6");
    c.compare("first-order u", gum.standard_uncertainty, first, 1e-9 * (1.0 + first));
}

fn gauge_block_simulation(c: &Case) {
    let t = |location: f64, scale: f64, dof: f64| Distribution::StudentT { location, scale, dof };
    let trapezoid = |half: f64, inexactness: f64| Distribution::CurvilinearTrapezoid {
        low: -half,
        high: half,
        inexactness,
    };
    let laws = [
        t(50_000_623.0, 25.0, 18.0),
        t(215.0, 6.0, 24.0),
        t(0.0, 4.0, 5.0),
        t(0.0, 7.0, 8.0),
        Distribution::Rectangular { low: 9.5e-6, high: 13.5e-6 },
        Distribution::Normal { mean: -0.1, sd: 0.2 },
        Distribution::Arcsine { low: -0.5, high: 0.5 },
        trapezoid(1e-6, 0.1e-6),
        trapezoid(0.05, 0.025),
    ];
    let model = |x: &[f64]| {
        let length = x[0];
        length + x[1] + x[2] + x[3] - length * (x[7] * (x[5] + x[6]) + x[4] * x[8]) - 50_000_000.0
    };
    let s = simulated(&laws, model, 0.99);
    c.agrees_within("y_nm", s.value, c.tolerance("monte_carlo_u_abs"));
    c.agrees_within("u_mc_nm", s.standard_uncertainty, c.tolerance("monte_carlo_u_abs"));
    let want = c.expected_list("interval99_mc_nm");
    let near = c.tolerance("monte_carlo_interval_abs");
    c.compare("99 % interval", s.symmetric_interval[0], want[0], near);
    c.compare("99 % interval", s.symmetric_interval[1], want[1], near);
}

fn t_table(c: &Case) {
    let p = c.input("p");
    for (nu, want) in c.inputs("nu").iter().zip(c.expected_list("t")) {
        c.compare(
            &format!("t for {nu}"),
            coverage_factor(p, Some(*nu)).unwrap(),
            want,
            c.tolerance("rel") * want,
        );
    }
    c.agrees("infinity", coverage_factor(p, None).unwrap());
}

fn product_of_three(c: &Case) {
    let inputs: Vec<Input> = c
        .inputs("u_rel_percent")
        .iter()
        .zip(c.inputs("nu"))
        .map(|(u, nu)| Input::new("x", 1.0, u / 100.0).with_degrees_of_freedom(nu))
        .collect();
    let y = propagate(&inputs, None, |x| x.iter().product()).unwrap();
    c.agrees("u_c_percent", 100.0 * y.standard_uncertainty);
    c.agrees("nu_eff", y.effective_degrees_of_freedom.unwrap());
    // Printed with 19 although 18.999 would be cut to 18.
    let t = coverage_factor(0.95, Some(19.0)).unwrap();
    c.agrees("t95_19", t);
    c.agrees("U95_percent", t * 100.0 * y.standard_uncertainty);
}

fn mean_of_two(c: &Case) {
    let m = weighted_mean(&c.inputs("x"), &c.inputs("u")).unwrap();
    c.agrees("mean", m.value);
    c.agrees("u", m.standard_uncertainty);
    c.agrees("chi2", m.chi_squared);
    c.agrees("S", m.birge_ratio.unwrap());
    c.agrees("u_scaled", m.scaled_uncertainty());
}

fn kaon_mass(c: &Case) {
    let s = scaled_mean(&c.inputs("x"), &c.inputs("u")).unwrap();
    c.agrees("mean", s.mean.value);
    c.agrees("u", s.mean.standard_uncertainty);
    c.agrees("chi2_all", s.mean.chi_squared);
    c.agrees("birge_all", s.mean.birge_ratio.unwrap());
    c.agrees_within("N_used", s.used as f64, 0.0);
    c.agrees("S", s.scale_factor);
    c.agrees("u_scaled", s.standard_uncertainty);
}

fn electron_mass(c: &Case) {
    let input = |name: &str| Input::new(name, c.input(name), c.input(&format!("u_{name}")));
    let inputs =
        [input("V"), input("I"), input("d"), Input::new("R_coil", c.input("R_coil"), c.input("u_R"))];
    let b =
        propagate(&inputs, None, |x| (x[1] / x[3]).powi(2) * (x[2] / 2.0).powi(2) / (2.0 * x[0])).unwrap();
    c.agrees("u_rel", b.standard_uncertainty / b.value);
    for (row, want) in b.contributions.iter().zip(c.expected_list("shares")) {
        c.compare(&row.name, row.share, want, c.tolerance("rel") * want);
    }
}

fn chi_squared_tail(c: &Case) {
    let rows = c.inputs("chi2").into_iter().zip(c.inputs("dof")).zip(c.expected_list("p"));
    for ((chi2, dof), want) in rows {
        let got = chi_squared_p_value(chi2, dof);
        c.compare(&format!("p of {chi2}, {dof}"), got, want, c.tolerance("rel") * want);
    }
}
