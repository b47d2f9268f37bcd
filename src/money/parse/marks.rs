//! How each language writes numbers: which mark comes before the decimals, which between groups.

/// The marks of a locale, as far as they settle how a number is read.
///
/// Spaces and apostrophes only ever group, in every locale, so that only a dot or a comma needs
/// settling. Where a locale groups with something else, `group` is `None`, and a dot or comma that
/// could be either stays ambiguous.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct NumberMarks {
    decimal: char,
    group: Option<char>,
}

const COMMA_AND_DOT: NumberMarks = NumberMarks {
    decimal: ',',
    group: Some('.'),
};
const COMMA_ONLY: NumberMarks = NumberMarks {
    decimal: ',',
    group: None,
};
const POINT_AND_COMMA: NumberMarks = NumberMarks {
    decimal: '.',
    group: Some(','),
};
const POINT_ONLY: NumberMarks = NumberMarks {
    decimal: '.',
    group: None,
};

// Source: number symbols of Unicode CLDR 48 for European digits, by language. Where a language
// writes its own digits with U+066B and U+066C, those need no settling.
const BY_LANGUAGE: &[(NumberMarks, &str)] = &[
    (
        COMMA_AND_DOT,
        "ast az bs ca da de dsb el es eu fo fur fy gl hr hsb id is it jgo jv kgp kkj kl ku lb lij \
         lld ln lo lu mgh mk mua nds nl nnh pt rn ro rw sc scn seh sg sl sr su tr vi wo yrl",
    ),
    (
        COMMA_ONLY,
        "af agq bas be bg blo br cs cv dua dyo eo et ewo ff fi fr ht hu hy ia ie ka kab kea kk ksf \
         ksh ky lmo lt lv nb nmg nn no nr oc os pl prg rm ru sah se shi sk smn sq ss sv szl tg tk \
         tok ts tt tzm uk uz ve vec wae yav zgh",
    ),
    (
        POINT_AND_COMMA,
        "aa ab ak am an ann apc ar arn as asa bal bem bew bez bgc bgn bho blt bm bn bo brx bss byn \
         cad cch ccp ce ceb cgg cho chr cic ckb co cop csw cu cy dav doi dv dz ebu ee en fa fil frr \
         ga gaa gd gez gn gu guz gv ha haw he hi hnj ig ii io iu ja jbo jmc kaa kaj kam kcg kde \
         ken ki kln km kn ko kok kpe ks ksb kw kxv la lag lg lkt lrc ltg luo luy mai mas mdf mer mg \
         mgo mhn mi mic ml mn mni moh mr ms mt mus my myv mzn naq nd ne nqo nso nus nv ny nyn om or \
         osa pa pap pcm pis ps qu quc raj rhg rif rof rwk sa saq sat sbp sd sdh shn si sid skr sma \
         smj sms sn so ssy st sw syr ta te teo th ti tig to tpi trv trw ug ur vai vo vun wa wal wbp \
         xnr xog yi yo yue za zh zu",
    ),
    (POINT_ONLY, "ba dje gsw khq mfe ses tn twq tyv xh"),
];

// Same source: regions and scripts that differ from their language.
const BY_VARIANT: &[(NumberMarks, &str)] = &[
    (
        COMMA_AND_DOT,
        "ar-dz ar-ly ar-ma ar-tn en-at en-dk en-id en-pl en-ro fr-lu fr-ma ms-bn ms-id qu-bo sw-cd",
    ),
    (
        COMMA_ONLY,
        "en-cz en-hu en-no en-se en-za es-cr es-ic pt-ao pt-ch pt-cv pt-gq pt-gw pt-lu pt-mo pt-mz \
         pt-pt pt-st pt-tl",
    ),
    (
        POINT_AND_COMMA,
        "es-419 es-br es-bz es-cu es-do es-gt es-hn es-mx es-ni es-pa es-pe es-pr es-sv es-us \
         ff-adlm kk-arab uz-arab",
    ),
    (POINT_ONLY, "de-ch de-li en-ch fr-ch it-ch"),
];

impl NumberMarks {
    /// The marks of a BCP 47 tag such as `de`, `de-CH` or `pt_BR`; `None` for an unknown language.
    pub fn of_locale(tag: &str) -> Option<NumberMarks> {
        let tag = tag.trim().to_ascii_lowercase().replace('_', "-");
        let mut subtags = tag.split('-');
        let language = subtags.next()?;
        for subtag in subtags {
            let variant = format!("{language}-{subtag}");
            if let Some(marks) = find(BY_VARIANT, &variant) {
                return Some(marks);
            }
        }
        find(BY_LANGUAGE, language)
    }

    /// The mark before the decimals.
    pub fn decimal(self) -> char {
        self.decimal
    }

    /// The mark between groups, where it is a dot or a comma.
    pub fn group(self) -> Option<char> {
        self.group
    }
}

fn find(table: &[(NumberMarks, &str)], wanted: &str) -> Option<NumberMarks> {
    table
        .iter()
        .find(|(_, tags)| tags.split_ascii_whitespace().any(|tag| tag == wanted))
        .map(|(marks, _)| *marks)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn regions_and_scripts_differ_from_their_language() {
        // Unicode CLDR 48 number symbols.
        for (tag, expected) in [
            ("de", Some(COMMA_AND_DOT)),
            ("de-AT", Some(COMMA_AND_DOT)),
            ("de_CH", Some(POINT_ONLY)),
            ("fr-Latn-CH", Some(POINT_ONLY)),
            ("en-GB", Some(POINT_AND_COMMA)),
            ("en-ZA", Some(COMMA_ONLY)),
            ("es-MX", Some(POINT_AND_COMMA)),
            ("pt-BR", Some(COMMA_AND_DOT)),
            ("pt-PT", Some(COMMA_ONLY)),
            ("tlh", None),
            ("", None),
        ] {
            assert_eq!(NumberMarks::of_locale(tag), expected, "{tag}");
        }
    }
}
