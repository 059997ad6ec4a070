//! Certificates, held against OpenSSL's command line and against rustls.

use std::fs;
use std::os::unix::fs::PermissionsExt as _;
use std::process::Command;

use rcgen::{CertificateParams, Issuer, KeyPair};
use rustls::pki_types::CertificateDer;
use rustls::pki_types::pem::PemObject as _;
use tempfile::TempDir;

use super::own::ends;
use super::*;

/// 2026-06-09T12:00:00Z.
const NOON: Millis = 1_781_006_400_000;

const NAME: &str = "airmuster.station.example";
const LONG: &str = "a-name-of-more-than-sixty-four-letters.as-some-departments-have-it.station.example";

fn host(name: &str) -> Host {
    name.parse().unwrap()
}

fn local_at(dir: &Path, name: &str, clock: &Clock) -> Result<Arc<Certificate>, TlsError> {
    let authority = Authority::open(dir, &host(name), clock.now())?;
    Certificate::new(Source::Local(Box::new(authority)), clock.clone())
}

fn local(dir: &Path, name: &str, clock: &Clock) -> Arc<Certificate> {
    local_at(dir, name, clock).unwrap()
}

fn leaf(certificate: &Certificate) -> CertificateDer<'static> {
    certificate.fresh().cert[0].clone()
}

fn told<T: std::fmt::Debug>(outcome: Result<T, TlsError>) -> String {
    outcome.unwrap_err().to_string()
}

/// Whether OpenSSL is content, and what it says.
fn openssl(args: &[&str]) -> (bool, String) {
    let ran = Command::new("openssl").args(args).output().expect("openssl is installed");
    let said = [ran.stdout, ran.stderr].concat();
    (ran.status.success(), String::from_utf8(said).unwrap())
}

/// Whether OpenSSL takes a server's certificate on the word of the authority in `dir`.
fn verified(dir: &Path, leaf: &CertificateDer<'_>, how: &[&str], at: Millis) -> (bool, String) {
    let file = dir.join("leaf.der");
    fs::write(&file, leaf).unwrap();
    let root = dir.join(FOLDER).join("authority.pem");
    let at = (at / SECOND).to_string();
    let fixed = ["verify", "-x509_strict", "-purpose", "sslserver", "-attime", &at, "-CAfile"];
    let mut args = fixed.to_vec();
    args.extend([root.to_str().unwrap()]);
    args.extend(how);
    args.extend([file.to_str().unwrap()]);
    openssl(&args)
}

/// The authority in the hands of somebody else.
fn stolen(dir: &Path) -> Issuer<'static, KeyPair> {
    let read = |file| fs::read_to_string(dir.join(FOLDER).join(file)).unwrap();
    let certificate = CertificateDer::from_pem_slice(read("authority.pem").as_bytes()).unwrap();
    let file = dir.join("authority.der");
    fs::write(&file, certificate).unwrap();
    let args = ["x509", "-inform", "DER", "-noout", "-subject", "-nameopt", "multiline", "-in"];
    let (_, said) = openssl(&[&args[..], &[file.to_str().unwrap()]].concat());
    let name = said.split_once(" = ").unwrap_or_else(|| panic!("{said}")).1.trim();
    Issuer::new(subject(name), KeyPair::from_pem(&read("authority.key")).unwrap())
}

fn subject(name: &str) -> CertificateParams {
    let mut params = CertificateParams::default();
    params.distinguished_name = rcgen::DistinguishedName::new();
    params.distinguished_name.push(rcgen::DnType::CommonName, name);
    params
}

/// What a thief of the authority's key would make.
fn forged(issuer: &Issuer<'_, KeyPair>, names: &[&str], ca: bool) -> (CertificateDer<'static>, KeyPair) {
    let names: Vec<String> = names.iter().map(|n| (*n).to_owned()).collect();
    let mut params = CertificateParams::new(names).unwrap();
    let name = if ca { "a thief's authority" } else { "a thief" };
    params.distinguished_name.push(rcgen::DnType::CommonName, name);
    if ca {
        params.is_ca = rcgen::IsCa::Ca(rcgen::BasicConstraints::Unconstrained);
    }
    params.extended_key_usages = vec![rcgen::ExtendedKeyUsagePurpose::ServerAuth];
    params.use_authority_key_identifier_extension = true;
    let key = KeyPair::generate().unwrap();
    (params.signed_by(&key, issuer).unwrap().der().clone(), key)
}

#[test]
fn openssl_takes_the_certificate_for_a_name_and_for_addresses() {
    for (name, how) in [
        (NAME, ["-verify_hostname", NAME]),
        ("station", ["-verify_hostname", "station"]),
        (LONG, ["-verify_hostname", LONG]),
        ("192.0.2.7", ["-verify_ip", "192.0.2.7"]),
        ("2001:db8::7", ["-verify_ip", "2001:db8::7"]),
    ] {
        let dir = tempfile::tempdir().unwrap();
        let leaf = leaf(&local(dir.path(), name, &Clock::at(NOON)));
        let (taken, said) = verified(dir.path(), &leaf, &how, NOON);
        assert!(taken, "{name}: {said}");
        let (taken, said) = verified(dir.path(), &leaf, &["-verify_hostname", "other.example"], NOON);
        assert!(!taken, "{name}: {said}");
    }
}

#[test]
fn what_the_authority_would_sign_for_another_host_is_refused_by_openssl() {
    let dir = tempfile::tempdir().unwrap();
    local(dir.path(), NAME, &Clock::at(NOON));
    let thief = stolen(dir.path());
    let (good, _) = forged(&thief, &[NAME], false);
    let (taken, said) = verified(dir.path(), &good, &[], NOON);
    assert!(taken, "only the name must make the difference: {said}");
    for (names, why) in [
        (&["bank.example"][..], "permitted subtree violation"),
        (&["station.example"], "permitted subtree violation"),
        (&[NAME, "bank.example"], "permitted subtree violation"),
        (&["192.0.2.7"], "excluded subtree violation"),
        (&["2001:db8::7"], "excluded subtree violation"),
    ] {
        let (forged, _) = forged(&thief, names, false);
        let (taken, said) = verified(dir.path(), &forged, &[], NOON);
        assert!(!taken && said.contains(why), "{names:?}: {said}");
    }
}

#[test]
fn an_authority_for_an_address_vouches_for_no_name_and_no_other_address() {
    let dir = tempfile::tempdir().unwrap();
    local(dir.path(), "192.0.2.7", &Clock::at(NOON));
    let thief = stolen(dir.path());
    let (good, _) = forged(&thief, &["192.0.2.7"], false);
    // Without a name in it OpenSSL holds the subject to the constraints only if it looks like one.
    let (taken, said) = verified(dir.path(), &good, &[], NOON);
    assert!(taken, "only the name must make the difference: {said}");
    for (name, why) in [
        ("bank.example", "excluded subtree violation"),
        ("192.0.2.8", "permitted subtree violation"),
        ("2001:db8::7", "permitted subtree violation"),
    ] {
        let (forged, _) = forged(&thief, &[name], false);
        let (taken, said) = verified(dir.path(), &forged, &[], NOON);
        assert!(!taken && said.contains(why), "{name}: {said}");
    }
}

#[test]
fn the_authority_cannot_make_another_authority() {
    let dir = tempfile::tempdir().unwrap();
    local(dir.path(), NAME, &Clock::at(NOON));
    let (middle, key) = forged(&stolen(dir.path()), &[NAME], true);
    let (end, _) = forged(&Issuer::new(subject("a thief's authority"), key), &[NAME], false);
    let (der, pem) = (dir.path().join("middle.der"), dir.path().join("middle.pem"));
    fs::write(&der, middle).unwrap();
    let (der, pem) = (der.to_str().unwrap(), pem.to_str().unwrap());
    assert!(openssl(&["x509", "-inform", "DER", "-in", der, "-out", pem]).0);
    let (taken, said) = verified(dir.path(), &end, &["-untrusted", pem], NOON);
    assert!(!taken && said.contains("path length constraint exceeded"), "{said}");
}

#[test]
fn rustls_refuses_another_host_too() {
    let dir = tempfile::tempdir().unwrap();
    let clock = Clock::at(NOON);
    local(dir.path(), NAME, &clock);
    let said = told(local_at(dir.path(), "bank.example", &clock));
    assert!(said.contains("browsers would not take"), "{said}");
}

#[test]
fn only_the_programs_user_may_read_the_keys() {
    let dir = tempfile::tempdir().unwrap();
    let tls = dir.path().join(FOLDER);
    fs::create_dir(&tls).unwrap();
    fs::set_permissions(&tls, fs::Permissions::from_mode(0o755)).unwrap();
    local(dir.path(), NAME, &Clock::at(NOON));
    Origin { host: host(NAME), port: 8460 }.settle(dir.path()).unwrap();
    let mode = |path: &Path| fs::metadata(path).unwrap().permissions().mode() & 0o777;
    assert_eq!(mode(&tls), 0o700);
    let mut files: Vec<String> = Vec::new();
    for entry in fs::read_dir(&tls).unwrap() {
        let path = entry.unwrap().path();
        assert_eq!(mode(&path), 0o600, "{}", path.display());
        files.push(path.file_name().unwrap().to_str().unwrap().to_owned());
    }
    files.sort();
    assert_eq!(files, ["authority.key", "authority.pem", "origin"]);
}

/// Begin and end as OpenSSL reads them.
fn dates(dir: &Path, certificate: &CertificateDer<'_>) -> (Millis, Millis) {
    let file = dir.join("dated.der");
    fs::write(&file, certificate).unwrap();
    let args = ["x509", "-inform", "DER", "-noout", "-dates", "-dateopt", "iso_8601", "-in"];
    let (_, said) = openssl(&[&args[..], &[file.to_str().unwrap()]].concat());
    let date = |name: &str| {
        let text = said.lines().find_map(|l| l.strip_prefix(name)).unwrap_or_else(|| panic!("{said}"));
        let date = chrono::NaiveDateTime::parse_from_str(text, "%Y-%m-%d %H:%M:%SZ").unwrap();
        date.and_utc().timestamp_millis()
    };
    (date("notBefore="), date("notAfter="))
}

#[test]
fn a_server_certificate_lives_397_days_at_most_and_the_authority_ten_years() {
    let dir = tempfile::tempdir().unwrap();
    let certificate = local(dir.path(), NAME, &Clock::at(NOON));
    let (from, until) = dates(dir.path(), &leaf(&certificate));
    assert!(from < NOON - DAY, "a tablet's clock may be slow by a day");
    assert!(until - from > 390 * DAY && until - from <= 397 * DAY, "{} days", (until - from) / DAY);
    let Source::Local(authority) = certificate.source() else { panic!("it is local") };
    let (from, until) = dates(dir.path(), &CertificateDer::from(authority.der()));
    assert_eq!((until - from) / DAY, 3650);
    assert_eq!(until, authority.ends());
}

#[test]
fn the_end_of_a_certificate_is_read_as_openssl_reads_it() {
    let dir = tempfile::tempdir().unwrap();
    // RFC 5280 writes years from 2050 on in another form.
    for year in [2026, 2049, 2050, 2351] {
        let mut params = CertificateParams::new(vec![NAME.to_owned()]).unwrap();
        params.not_after = rcgen::date_time_ymd(year, 12, 31);
        let certificate = params.self_signed(&KeyPair::generate().unwrap()).unwrap();
        let (_, until) = dates(dir.path(), certificate.der());
        assert_eq!(ends(certificate.der()), Some(until), "{year}");
    }
    for nonsense in [&b""[..], b"\x30", b"\x30\x00", b"\x30\x02\x30\x00", b"not a certificate"] {
        assert_eq!(ends(&CertificateDer::from(nonsense)), None);
    }
}

#[test]
fn the_certificate_is_renewed_at_two_thirds_of_its_life_without_a_restart() {
    let dir = tempfile::tempdir().unwrap();
    let clock = Clock::at(NOON);
    let certificate = local(dir.path(), NAME, &clock);
    let first = leaf(&certificate);
    let (from, until) = dates(dir.path(), &first);
    let due = from + (until - from) / 3 * 2;
    clock.set(due - 1);
    assert_eq!(leaf(&certificate), first);
    clock.set(due);
    let second = leaf(&certificate);
    assert_ne!(second, first);
    let (_, later) = dates(dir.path(), &second);
    assert!(later > until);
    let (taken, said) = verified(dir.path(), &second, &["-verify_hostname", NAME], until + DAY);
    assert!(taken, "{said}");
}

#[test]
fn a_clock_that_was_wrong_at_the_start_is_made_good_at_the_next_connection() {
    let dir = tempfile::tempdir().unwrap();
    let clock = Clock::at(NOON + 900 * DAY);
    let certificate = local(dir.path(), NAME, &clock);
    let early = NOON + 890 * DAY;
    clock.set(early);
    let (from, until) = dates(dir.path(), &leaf(&certificate));
    assert!(from < early && early < until, "it begins before the clock was set back");
}

#[test]
fn years_of_renewals_keep_the_authority_and_end_with_it() {
    let dir = tempfile::tempdir().unwrap();
    let clock = Clock::at(NOON);
    let certificate = local(dir.path(), NAME, &clock);
    let Source::Local(authority) = certificate.source() else { panic!("it is local") };
    let mut seen = Vec::new();
    for day in 0..3640 {
        clock.set(NOON + day * DAY);
        let now = leaf(&certificate);
        if seen.last() != Some(&now) {
            let (_, until) = dates(dir.path(), &now);
            assert!(until <= authority.ends());
            let (taken, said) = verified(dir.path(), &now, &["-verify_hostname", NAME], clock.now());
            assert!(taken, "day {day}: {said}");
            seen.push(now);
        }
    }
    assert!((10..40).contains(&seen.len()), "{} certificates in ten years", seen.len());
    clock.set(authority.ends() + DAY);
    assert_eq!(Some(&leaf(&certificate)), seen.last(), "an ended authority gives no new one");
    assert!(certificate.notice().unwrap().contains("has ended"));
    let said = told(local_at(dir.path(), NAME, &clock));
    assert!(said.contains("has ended"), "{said}");
}

#[test]
fn a_second_start_keeps_the_authority() {
    let dir = tempfile::tempdir().unwrap();
    let clock = Clock::at(NOON);
    let first = local(dir.path(), NAME, &clock);
    let second = local(dir.path(), NAME, &clock);
    assert_eq!(first.fresh().cert[1], second.fresh().cert[1]);
    assert_ne!(leaf(&first), leaf(&second), "the server's own key is never written down");
    let (taken, said) = verified(dir.path(), &leaf(&second), &["-verify_hostname", NAME], NOON);
    assert!(taken, "{said}");
}

#[test]
fn an_authority_whose_key_is_anothers_or_gone_is_told_at_the_start() {
    let (dir, other) = (tempfile::tempdir().unwrap(), tempfile::tempdir().unwrap());
    let clock = Clock::at(NOON);
    local(dir.path(), NAME, &clock);
    local(other.path(), NAME, &clock);
    let key = |d: &TempDir| d.path().join(FOLDER).join("authority.key");
    fs::copy(key(&other), key(&dir)).unwrap();
    let said = told(local_at(dir.path(), NAME, &clock));
    assert!(said.contains("browsers would not take"), "{said}");
    fs::remove_file(key(&dir)).unwrap();
    assert!(told(local_at(dir.path(), NAME, &clock)).contains("authority.key"));
    assert!(!key(&dir).exists(), "no new one is made behind the tablets' backs");
}

#[test]
fn a_machine_that_has_lost_its_clock_makes_no_authority() {
    let dir = tempfile::tempdir().unwrap();
    let said = told(local_at(dir.path(), NAME, &Clock::at(0)));
    assert!(said.contains("date lies in the past"), "{said}");
    assert!(!dir.path().join(FOLDER).join("authority.pem").exists());
}

#[test]
fn another_origin_is_refused_and_says_what_it_would_cost() {
    let dir = tempfile::tempdir().unwrap();
    let origin = |name: &str, port| Origin { host: host(name), port };
    assert_eq!(Origin::remembered(dir.path()).unwrap(), None);
    origin(NAME, 0).settle(dir.path()).unwrap();
    origin(NAME, 8460).settle(dir.path()).unwrap();
    assert_eq!(Origin::remembered(dir.path()).unwrap(), Some(origin(NAME, 8460)));
    origin(NAME, 0).settle(dir.path()).unwrap();
    origin("AirMuster.Station.Example", 8460).settle(dir.path()).unwrap();
    for other in [origin("other.example", 8460), origin(NAME, 443), origin("192.0.2.7", 0)] {
        let said = told(other.settle(dir.path()));
        assert!(said.contains("https://airmuster.station.example:8460"), "{said}");
        assert!(said.contains("not handed in"), "{said}");
    }
    assert_eq!(Origin::remembered(dir.path()).unwrap(), Some(origin(NAME, 8460)));
}

#[test]
fn a_host_is_a_name_or_an_address_and_nothing_more() {
    for (given, taken) in [
        (" Airmuster.Station.Example ", "airmuster.station.example"),
        ("station", "station"),
        ("192.0.2.7", "192.0.2.7"),
        ("2001:db8::7", "[2001:db8::7]"),
        ("[2001:DB8::7]", "[2001:db8::7]"),
    ] {
        assert_eq!(host(given).to_string(), taken);
        assert_eq!(host(taken), host(given));
    }
    for nonsense in
        ["", " ", "https://a.example", "a.example:8460", "a.example/x", "a b", "*.example", "a.", "ü"]
    {
        let said = told(nonsense.parse::<Host>());
        assert!(said.contains("give the name alone"), "{nonsense}: {said}");
    }
}

/// The department's own files, for a name, ending after so many days.
struct Files {
    dir: TempDir,
}

impl Files {
    fn new() -> Self {
        Self { dir: tempfile::tempdir().unwrap() }
    }

    fn source(&self) -> Source {
        let (certificate, key) = (self.dir.path().join("cert.pem"), self.dir.path().join("key.pem"));
        Source::Own(Own { certificate, key, host: host(NAME) })
    }

    fn made(name: &str, until: Millis) -> (String, String) {
        let mut params = CertificateParams::new(vec![name.to_owned()]).unwrap();
        params.not_after = time::OffsetDateTime::from_unix_timestamp(until / SECOND).unwrap();
        let key = KeyPair::generate().unwrap();
        (params.self_signed(&key).unwrap().pem(), key.serialize_pem())
    }

    fn put(&self, (certificate, key): &(String, String)) {
        fs::write(self.dir.path().join("cert.pem"), certificate).unwrap();
        fs::write(self.dir.path().join("key.pem"), key).unwrap();
    }
}

#[test]
fn every_page_warns_from_thirty_days_before_a_certificate_ends() {
    let files = Files::new();
    files.put(&Files::made(NAME, NOON + 100 * DAY));
    let clock = Clock::at(NOON);
    let certificate = Certificate::new(files.source(), clock.clone()).unwrap();
    for (left, words) in [
        (30 * DAY, None),
        (30 * DAY - 1, Some("ends in 29 days")),
        (2 * DAY - 1, Some("ends in 1 day;")),
        (DAY - 1, Some("ends within a day")),
        (0, Some("has ended")),
    ] {
        clock.set(NOON + 100 * DAY - left);
        let notice = certificate.notice();
        match words {
            None => assert_eq!(notice, None),
            Some(words) => assert!(notice.clone().unwrap().contains(words), "{notice:?}"),
        }
    }
}

#[test]
fn a_renewed_certificate_of_the_department_is_used_without_a_restart() {
    let files = Files::new();
    files.put(&Files::made(NAME, NOON + 20 * DAY));
    let clock = Clock::at(NOON);
    let certificate = Certificate::new(files.source(), clock.clone()).unwrap();
    let old = leaf(&certificate);
    assert!(certificate.notice().is_some());

    let new = Files::made(NAME, NOON + 90 * DAY);
    fs::write(files.dir.path().join("cert.pem"), &new.0).unwrap();
    clock.set(NOON + 2 * MINUTE);
    assert_eq!(leaf(&certificate), old, "half of the renewal is not used");

    files.put(&new);
    clock.set(NOON + 4 * MINUTE);
    let renewed = leaf(&certificate);
    assert_ne!(renewed, old);
    assert_eq!(certificate.notice(), None);

    fs::remove_file(files.dir.path().join("key.pem")).unwrap();
    clock.set(NOON + 6 * MINUTE);
    assert_eq!(leaf(&certificate), renewed, "what was good stays in use");
}

#[test]
fn files_that_are_no_use_are_told_by_name() {
    let clock = Clock::at(NOON);
    let good = Files::made(NAME, NOON + DAY);
    let other = Files::made("other.example", NOON + DAY);
    let ended = Files::made(NAME, NOON - DAY);
    for (put, words) in [
        ((good.0.clone(), other.1.clone()), "key.pem does not go with"),
        (other.clone(), "another name than airmuster.station.example"),
        (ended, "has ended"),
        ((String::new(), good.1.clone()), "cert.pem holds no certificate"),
        ((good.0.clone(), "nothing".to_owned()), "key.pem holds no key"),
    ] {
        let files = Files::new();
        files.put(&put);
        let said = told(Certificate::new(files.source(), clock.clone()));
        assert!(said.contains(words), "{said}");
    }
    let said = told(Certificate::new(Files::new().source(), clock));
    assert!(said.contains("cert.pem cannot be read"), "{said}");
}
