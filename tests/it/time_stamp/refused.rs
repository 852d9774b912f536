//! Servers that answer wrongly, late or without an end: each a clear error, and no time stamp.

use std::path::Path;
use std::sync::Arc;
use std::time::{Duration, Instant};

use zonecall::time_stamp::authority::Authority as Trusted;
use zonecall::time_stamp::{StampServer, Token};

use super::authority::{Authority, Way};

/// The SHA-256 of "abc" (FIPS 180-4, example of NIST).
const ABC: [u8; 32] = [
    0xba, 0x78, 0x16, 0xbf, 0x8f, 0x01, 0xcf, 0xea, 0x41, 0x41, 0x40, 0xde, 0x5d, 0xae, 0x22, 0x23, 0xb0,
    0x03, 0x61, 0xa3, 0x96, 0x17, 0x7a, 0x9c, 0xb4, 0x10, 0xff, 0x61, 0xf2, 0x00, 0x15, 0xad,
];
const RSA: &[&str] = &["-newkey", "rsa:2048"];

fn hex(bytes: &[u8]) -> String {
    bytes.iter().map(|byte| format!("{byte:02x}")).collect()
}

/// What comes of asking a server for a time stamp of "abc". Behind it OpenSSL is started a few times for an answer, which
/// takes long on a machine that does much else.
fn asked(url: &str, ca: Option<&Path>) -> Result<Token, String> {
    asked_for(Duration::from_secs(60), url, ca)
}

/// The same, with so much patience.
fn asked_for(patience: Duration, url: &str, ca: Option<&Path>) -> Result<Token, String> {
    let trusted = ca.map(|ca| Trusted::read(ca).unwrap());
    let server = StampServer::new(url, trusted, patience).map_err(|error| error.to_string())?;
    server.stamp(&ABC).map_err(|error| error.to_string())
}

#[test]
fn each_wrong_answer_is_a_clear_error_in_time() {
    let authority = Arc::new(Authority::new(RSA));
    for (way, why) in [
        (Way::OtherBytes, "it is a time stamp of other bytes"),
        (Way::OtherRequest, "it answers another request"),
        (Way::NoNumber, "it answers another request"),
        (Way::Refuses, "refused: "),
        (Way::Changed, "its signature does not fit"),
        (Way::Page, "gave no answer that can be read"),
        (Way::Fault, "HTTP 500"),
        (Way::Elsewhere, "HTTP 307"),
        (Way::Silent, "try again later"),
        (Way::Drips, "try again later"),
        (Way::Endless, "longer than 262144 bytes"),
    ] {
        let url = authority.serve(way);
        let began = Instant::now();
        let told = match way {
            Way::Silent | Way::Drips => asked_for(Duration::from_secs(2), &url, None),
            _ => asked(&url, None),
        };
        let told = told.unwrap_err();
        assert!(told.contains(why), "{way:?}: {told}");
        // The silent one waits for two minutes, and the one that drips takes eight.
        assert!(began.elapsed() < Duration::from_secs(60), "{way:?}: {:?}", began.elapsed());
    }
    let refused = asked(&authority.serve(Way::Refuses), None).unwrap_err();
    assert!(refused.contains("it does not know the hash"), "badAlg (RFC 3161, 2.4.2): {refused}");
    let right = asked(&authority.serve(Way::Right), Some(&authority.path("ca.pem"))).unwrap();
    assert!((chrono::Utc::now() - right.at).abs() < chrono::TimeDelta::seconds(120));
    assert_eq!(right.accuracy, Some(chrono::TimeDelta::milliseconds(1500)));
    // Three in a row at a full second are one in a thousand million.
    let url = authority.serve(Way::Right);
    let has_fraction = |_| asked(&url, None).unwrap().at.timestamp_subsec_millis() != 0;
    assert!((0..3).any(has_fraction), "fractions of a second are read (RFC 3161, 2.4.2)");
}

#[test]
fn another_authority_vouches_for_no_server_and_a_server_for_pages_stamps_nothing() {
    let authority = Arc::new(Authority::new(RSA));
    let url = authority.serve(Way::Right);
    let told = asked(&url, Some(&authority.path("other.pem"))).unwrap_err();
    assert!(told.contains("does not lead to the authority"), "{told}");
    // OpenSSL itself refuses to stamp with the key of a web server, so the token is signed by CMS.
    let token = authority.path("web.tst");
    let query = authority.query(&hex(&ABC), &[]);
    let right = authority.reply(&query, "right");
    std::fs::write(authority.path("right.tsr"), &right).unwrap();
    let info = authority.run(&["ts", "-reply", "-in", "right.tsr", "-token_out", "-out", "right.tst"]);
    assert!(info.status.success(), "{}", String::from_utf8_lossy(&info.stderr));
    let content =
        authority.run(&["cms", "-verify", "-noverify", "-inform", "DER", "-in", "right.tst", "-out", "info"]);
    assert!(content.status.success(), "{}", String::from_utf8_lossy(&content.stderr));
    let args = ["cms", "-sign", "-binary", "-nodetach", "-in", "info", "-outform", "DER", "-out", "web.tst"];
    let kind = ["-econtent_type", "1.2.840.113549.1.9.16.1.4", "-cades"];
    let signed = |name: &str| {
        let (cert, key) = (format!("{name}.pem"), format!("{name}.key"));
        let signer = ["-signer", &cert, "-inkey", &key];
        let done = authority.run(&[&args[..], &kind, &signer].concat());
        assert!(done.status.success(), "{}", String::from_utf8_lossy(&done.stderr));
        Token::read(&std::fs::read(&token).unwrap(), &ABC)
    };
    signed("tsa").unwrap();
    assert!(signed("web").unwrap_err().to_string().contains("is not one for time stamps"));
}

/// The certificates are made by OpenSSL; the name in one is a host's own (RFC 9110, 4.3.4).
#[test]
fn a_server_by_tls_is_believed_only_where_the_named_authority_vouches_for_its_name() {
    let authority = Arc::new(Authority::new(RSA));
    authority.server("here", "ca", "subjectAltName=IP:127.0.0.1\n", RSA);
    authority.server("elsewhere", "ca", "subjectAltName=DNS:stamp.example\n", RSA);
    authority.server("intruder", "other", "subjectAltName=IP:127.0.0.1\n", RSA);
    let ca = authority.path("ca.pem");
    let right = asked(&authority.serve_by_tls("here"), Some(&ca)).unwrap();
    assert!((chrono::Utc::now() - right.at).abs() < chrono::TimeDelta::seconds(120));
    for (certificate, why) in [("elsewhere", "not valid for name"), ("intruder", "UnknownIssuer")] {
        let told = asked(&authority.serve_by_tls(certificate), Some(&ca)).unwrap_err();
        assert!(told.contains(why) && told.contains("--time-stamp-ca"), "{certificate}: {told}");
    }
}

#[test]
fn a_certificate_named_by_its_sha1_is_read_too() {
    let authority = Authority::new(RSA);
    let reply = authority.reply(&authority.query(&hex(&ABC), &[]), "old");
    std::fs::write(authority.path("old.tsr"), reply).unwrap();
    let done = authority.run(&["ts", "-reply", "-in", "old.tsr", "-token_out", "-out", "old.tst"]);
    assert!(done.status.success(), "{}", String::from_utf8_lossy(&done.stderr));
    let bytes = std::fs::read(authority.path("old.tst")).unwrap();
    let token = Token::read(&bytes, &ABC).unwrap();
    token.is_vouched_for(&Trusted::read(&authority.path("ca.pem")).unwrap()).unwrap();
    assert!(Token::read(&bytes, &[0; 32]).unwrap_err().to_string().contains("other bytes"));
}

/// A token that OpenSSL made, in which one bit was changed.
#[test]
fn no_bit_of_what_was_hashed_signed_or_named_as_a_method_can_change() {
    let authority = Authority::new(RSA);
    let reply = authority.reply(&authority.query(&hex(&ABC), &[]), "right");
    std::fs::write(authority.path("right.tsr"), reply).unwrap();
    let done = authority.run(&["ts", "-reply", "-in", "right.tsr", "-token_out", "-out", "right.tst"]);
    assert!(done.status.success(), "{}", String::from_utf8_lossy(&done.stderr));
    let right = std::fs::read(authority.path("right.tst")).unwrap();
    let token = Token::read(&right, &ABC).unwrap();
    let places = |part: &[u8]| {
        let found = right.windows(part.len()).enumerate().filter(|(_, window)| *window == part);
        found.map(|(at, _)| (at, part.len())).collect::<Vec<_>>()
    };
    // The object identifiers in DER: SHA-256 (RFC 5754, 2.2), id-messageDigest (RFC 5652, 11.2), rsaEncryption (RFC 8017, C).
    let sha_256 = places(&[0x60, 0x86, 0x48, 0x01, 0x65, 0x03, 0x04, 0x02, 0x01]);
    let digest = places(&[0x2a, 0x86, 0x48, 0x86, 0xf7, 0x0d, 0x01, 0x09, 0x04]);
    let imprint = places(&ABC);
    assert!(sha_256.len() >= 3, "the list of hashes, the imprint and the signer each name it: {sha_256:?}");
    assert_eq!((imprint.len(), digest.len()), (1, 1));
    // Behind the name of the digest are the set and the 32 bytes of its string.
    let value = (digest[0].0 + 9, 4 + 32);
    for (from, length) in sha_256.into_iter().chain(imprint).chain(digest).chain([value]) {
        for bit in from * 8..(from + length) * 8 {
            let mut wrong = right.clone();
            wrong[bit / 8] ^= 1 << (bit % 8);
            assert!(Token::read(&wrong, &ABC).is_err(), "byte {}, bit {}", bit / 8, bit % 8);
        }
    }
    // Anywhere else a change is refused, or changes nothing that is believed: certificates that are not the signer's.
    for bit in (0..right.len() * 8).step_by(3) {
        let mut wrong = right.clone();
        wrong[bit / 8] ^= 1 << (bit % 8);
        if let Ok(read) = Token::read(&wrong, &ABC) {
            assert_eq!(
                (read.at, read.accuracy, &read.by),
                (token.at, token.accuracy, &token.by),
                "bit {bit}"
            );
        }
    }
}

/// The same 32 bytes, rightly signed, as a hash of another kind: no time stamp of what was asked for.
#[test]
fn a_token_whose_imprint_is_of_another_hash_is_refused() {
    let authority = Authority::new(RSA);
    authority.settings("sha3", "tsa", "sha3-256, sha256", "");
    let done = authority.run(&["ts", "-query", "-sha3-256", "-cert", "-digest", &hex(&ABC)]);
    assert!(done.status.success(), "{}", String::from_utf8_lossy(&done.stderr));
    std::fs::write(authority.path("sha3.tsr"), authority.reply(&done.stdout, "sha3")).unwrap();
    let done = authority.run(&["ts", "-reply", "-in", "sha3.tsr", "-token_out", "-out", "sha3.tst"]);
    assert!(done.status.success(), "{}", String::from_utf8_lossy(&done.stderr));
    let token = std::fs::read(authority.path("sha3.tst")).unwrap();
    assert!(token.windows(32).any(|window| window == ABC), "it holds the very bytes");
    assert_eq!(Token::read(&token, &ABC).unwrap_err(), zonecall::time_stamp::TokenFault::OtherBytes);
}

#[test]
fn an_address_or_a_file_that_is_none_says_what_is_wanted() {
    for none in ["ftp://stamp.example", "http://", "http:///tsa", "http://stamp example/tsa"] {
        let told = asked(none, None).unwrap_err();
        assert!(told.contains("is not the address of a time-stamp server"), "{told}");
    }
    // Nobody listens there: to try again later does not help.
    let told = asked("http://127.0.0.1:1/tsa", None).unwrap_err();
    assert!(told.contains("check its address (--time-stamp") && !told.contains("later"), "{told}");
    let told = asked("https://stamp.example", None).unwrap_err();
    assert!(told.contains("--time-stamp-ca"), "{told}");
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("ca.pem");
    for text in ["", "no certificate"] {
        std::fs::write(&file, text).unwrap();
        let told = Trusted::read(&file).unwrap_err().to_string();
        assert!(told.contains("give certificates in PEM form"), "{told}");
    }
}

/// RFC 5280, 4.2.1.12: an authority between that names no usage may lead to any; one that names another must not. The
/// certificates are made by OpenSSL.
#[test]
fn an_authority_between_need_name_no_usage_and_must_name_no_other() {
    let authority = Authority::new(RSA);
    let trusted = Trusted::read(&authority.path("ca.pem")).unwrap();
    let openssl = |args: &[&str]| {
        let done = authority.run(args);
        assert!(done.status.success(), "{args:?}: {}", String::from_utf8_lossy(&done.stderr));
    };
    let issue = |name: &str, by: &str, extensions: &str| {
        let file = |ending: &str| format!("{name}.{ending}");
        let (key, csr, cert, ext) = (file("key"), file("csr"), file("pem"), file("ext"));
        std::fs::write(authority.path(&ext), extensions).unwrap();
        let subject = format!("/CN=Example {name}");
        let asks = ["req", "-nodes", "-keyout", &key, "-out", &csr, "-subj", &subject];
        openssl(&[&asks[..], RSA].concat());
        let (ca, ca_key) = (format!("{by}.pem"), format!("{by}.key"));
        openssl(&[
            "x509",
            "-req",
            "-in",
            &csr,
            "-CA",
            &ca,
            "-CAkey",
            &ca_key,
            "-CAcreateserial",
            "-days",
            "3650",
            "-out",
            &cert,
            "-extfile",
            &ext,
        ]);
    };
    for (usage, holds) in
        [("", true), ("extendedKeyUsage=timeStamping\n", true), ("extendedKeyUsage=serverAuth\n", false)]
    {
        issue("between", "ca", &format!("basicConstraints=critical,CA:TRUE\n{usage}"));
        issue("leaf", "between", "basicConstraints=CA:FALSE\nextendedKeyUsage=critical,timeStamping\n");
        let settings = std::fs::read_to_string(authority.path("right.cnf")).unwrap();
        let settings = settings.replace("ca.pem", "between.pem").replace("tsa.pem", "leaf.pem");
        std::fs::write(authority.path("chain.cnf"), settings.replace("tsa.key", "leaf.key")).unwrap();
        let reply = authority.reply(&authority.query(&hex(&ABC), &[]), "chain");
        std::fs::write(authority.path("chain.tsr"), reply).unwrap();
        openssl(&["ts", "-reply", "-in", "chain.tsr", "-token_out", "-out", "chain.tst"]);
        let token = Token::read(&std::fs::read(authority.path("chain.tst")).unwrap(), &ABC).unwrap();
        assert_eq!(token.is_vouched_for(&trusted).is_ok(), holds, "{usage}");
    }
}
