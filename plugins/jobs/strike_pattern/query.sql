-- Where on the face the ball is met, per player, club and week, against the weeks before. Only play and drill shots count.
WITH counted AS (
    SELECT
        *,
        -- Where one axis was read and the other inferred, the pair counts as inferred.
        CASE WHEN strike_source IN ('measured', 'linked') THEN strike_source ELSE 'inferred' END AS source,
        CAST(local_date AS INTEGER) AS day_number,
        CAST(week AS INTEGER) AS week_number,
        dense_rank() OVER (PARTITION BY site_id ORDER BY session) AS session_number
    FROM shot_verdicts
    WHERE counted AND strike_source IS NOT NULL AND strike_toe_mm IS NOT NULL AND strike_up_mm IS NOT NULL
),
weeks AS (
    SELECT
        site_id,
        player_id,
        club_id,
        week,
        week_number,
        max(model_as_of) AS model_as_of,
        max(method_version) AS method_version
    FROM counted
    GROUP BY site_id, player_id, club_id, week, week_number
),
told_of AS (
    SELECT
        weeks.site_id,
        weeks.player_id,
        weeks.club_id,
        weeks.week,
        weeks.model_as_of,
        weeks.method_version,
        strike_pattern(array_agg(named_struct(
            'toe_mm', counted.strike_toe_mm,
            'up_mm', counted.strike_up_mm,
            'toe_sd_mm', counted.strike_toe_sd_mm,
            'up_sd_mm', counted.strike_up_sd_mm,
            'delivery_measured', counted.delivery_measured,
            'prior_toe_mm', counted.strike_prior_toe_mm,
            'prior_toe_sd_mm', counted.strike_prior_toe_sd_mm,
            'prior_up_mm', counted.strike_prior_up_mm,
            'prior_up_sd_mm', counted.strike_prior_up_sd_mm,
            'session', counted.session_number,
            'day', counted.day_number,
            'current', counted.week = weeks.week,
            'source', counted.source
        ))) AS told
    FROM weeks
    JOIN counted
        ON counted.site_id = weeks.site_id
        AND counted.player_id = weeks.player_id
        AND counted.club_id = weeks.club_id
        AND counted.day_number >= weeks.week_number - $days_before
        AND counted.day_number < weeks.week_number + 7
    GROUP BY weeks.site_id, weeks.player_id, weeks.club_id, weeks.week, weeks.model_as_of, weeks.method_version
)
SELECT
    site_id,
    player_id,
    club_id,
    week,
    told['identification'] AS identification,
    told['change'] AS change,
    CAST(told['strikes'] AS BIGINT) AS strikes,
    CAST(told['strikes_measured'] AS BIGINT) AS strikes_measured,
    CAST(told['strikes_linked'] AS BIGINT) AS strikes_linked,
    CAST(told['strikes_inferred'] AS BIGINT) AS strikes_inferred,
    CAST(told['strikes_identified'] AS BIGINT) AS strikes_identified,
    CAST(told['sessions'] AS BIGINT) AS sessions,
    told['mean_toe_mm'] AS mean_toe_mm,
    told['mean_toe_low_mm'] AS mean_toe_low_mm,
    told['mean_toe_high_mm'] AS mean_toe_high_mm,
    told['mean_up_mm'] AS mean_up_mm,
    told['mean_up_low_mm'] AS mean_up_low_mm,
    told['mean_up_high_mm'] AS mean_up_high_mm,
    told['spread_toe_mm'] AS spread_toe_mm,
    told['spread_up_mm'] AS spread_up_mm,
    told['spread_correlation'] AS spread_correlation,
    told['session_spread_toe_mm'] AS session_spread_toe_mm,
    told['session_spread_up_mm'] AS session_spread_up_mm,
    told['next_toe_mm'] AS next_toe_mm,
    told['next_toe_sd_mm'] AS next_toe_sd_mm,
    told['next_up_mm'] AS next_up_mm,
    told['next_up_sd_mm'] AS next_up_sd_mm,
    told['next_degrees'] AS next_degrees,
    told['ellipse_long_mm'] AS ellipse_long_mm,
    told['ellipse_short_mm'] AS ellipse_short_mm,
    told['ellipse_tilt_deg'] AS ellipse_tilt_deg,
    told['centre_share'] AS centre_share,
    told['centre_share_low'] AS centre_share_low,
    told['centre_share_high'] AS centre_share_high,
    CAST(told['strikes_before'] AS BIGINT) AS strikes_before,
    told['shift_toe_mm'] AS shift_toe_mm,
    told['shift_toe_low_mm'] AS shift_toe_low_mm,
    told['shift_toe_high_mm'] AS shift_toe_high_mm,
    told['shift_up_mm'] AS shift_up_mm,
    told['shift_up_low_mm'] AS shift_up_low_mm,
    told['shift_up_high_mm'] AS shift_up_high_mm,
    told['spread_ratio'] AS spread_ratio,
    told['spread_ratio_low'] AS spread_ratio_low,
    told['spread_ratio_high'] AS spread_ratio_high,
    model_as_of,
    method_version,
    CAST(0 AS BIGINT) AS revision
FROM told_of
