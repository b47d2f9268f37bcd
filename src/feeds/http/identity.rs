//! Who the program says it is.

use reqwest::header::HeaderValue;
use thiserror::Error;

/// The name that robots.txt files can speak to.
pub const PRODUCT: &str = "rigtide";

/// The User-Agent: the program, its version and whom to write to.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Identity {
    user_agent: HeaderValue,
}

#[derive(Debug, Clone, PartialEq, Eq, Error)]
#[error("\"{text}\" is neither an http address nor a mail address")]
pub struct ContactFault {
    pub text: String,
}

impl Identity {
    /// `contact` is an http or https address, or a mail address, of the author.
    ///
    /// # Errors
    /// It is neither, or holds characters that a header cannot carry.
    pub fn new(contact: &str) -> Result<Identity, ContactFault> {
        let text = contact.trim();
        let fault = || ContactFault {
            text: contact.to_owned(),
        };
        let plain = !text.is_empty() && text.bytes().all(|byte| byte.is_ascii_graphic());
        // Parentheses would end the comment that holds the contact.
        let plain = plain && !text.contains(['(', ')', '\\']);
        let web = url::Url::parse(text)
            .is_ok_and(|url| matches!(url.scheme(), "http" | "https") && url.host_str().is_some());
        let mail = text
            .split_once('@')
            .is_some_and(|(name, host)| !name.is_empty() && host.contains('.'));
        if !plain || !(web || mail) {
            return Err(fault());
        }
        let version = env!("CARGO_PKG_VERSION");
        HeaderValue::from_str(&format!("{PRODUCT}/{version} (+{text})"))
            .map(|user_agent| Identity { user_agent })
            .map_err(|_| fault())
    }

    pub fn user_agent(&self) -> &HeaderValue {
        &self.user_agent
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_contact_is_an_address_that_someone_can_use() {
        let identity = Identity::new(" editor@guide.example ").unwrap();
        let expected = format!(
            "rigtide/{} (+editor@guide.example)",
            env!("CARGO_PKG_VERSION")
        );
        assert_eq!(identity.user_agent(), expected.as_str());
        assert!(Identity::new("https://guide.example/about").is_ok());
        for text in [
            "",
            "me",
            "@",
            "a@b",
            "ftp://guide.example",
            "a@b.example)\r\nX: y",
            "ä@b.example",
        ] {
            assert!(Identity::new(text).is_err(), "{text:?}");
        }
    }
}
